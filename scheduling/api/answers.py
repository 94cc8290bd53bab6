"""What the API answers about backlogs, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.fleet.words import Doer
from fleetcare.kernel.grades import GRADE_WORDS
from scheduling.api.job_answers import JOB_STATES
from scheduling.core.changes import CAME, COST, FELL, POSTPONED, ROSE, WENT


class TermsOut(Answer):
    """What the best way to wait is expected to cost, term by term."""

    failure = MoneyOut()
    later_job = MoneyOut()
    dangerous_driving = MoneyOut()
    major_driving = MoneyOut()
    renewal_credit = MoneyOut()
    kept_part = MoneyOut(help_text="What the old part still costs after a job that keeps it; counts against the job.")
    best_way_to_wait = serializers.CharField()


class MoneyRangeOut(Answer):
    """Four such jobs in five cost between low and high."""

    low = MoneyOut()
    likely = MoneyOut()
    high = MoneyOut()


class HoursRangeOut(Answer):
    low = serializers.FloatField()
    likely = serializers.FloatField()
    high = serializers.FloatField()


class AlternativeOut(Answer):
    """Another job for the same parts, worth less for its cost."""

    job = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    renews = serializers.BooleanField()
    cost_now = MoneyOut()
    worth_per_cost = serializers.FloatField()


class LookAskedOut(Answer):
    """A look that saves more than its minutes cost, at a part unseen for too long."""

    part = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    checks = serializers.ListField(child=serializers.CharField())
    minutes = serializers.FloatField()
    cost = MoneyOut()
    saving = MoneyOut()
    worth_per_cost = serializers.FloatField()
    bad_chance_fraction = serializers.FloatField(help_text="That it is minor or worse by now.")
    last_grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    cautions = serializers.ListField(child=serializers.CharField())
    reason = serializers.CharField()


class BacklogItemOut(Answer):
    rank = serializers.IntegerField()
    job = serializers.CharField()
    title = serializers.CharField()
    part = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    renews = serializers.BooleanField()
    cost_now = MoneyOut()
    cost_range = MoneyRangeOut()
    hours = serializers.FloatField()
    hours_range = HoursRangeOut()
    closed_jobs = serializers.IntegerField(help_text="On how many closed jobs of the fleet the ranges rest.")
    done_by = serializers.ChoiceField(Doer.choices)
    done_by_because = serializers.ListField(child=serializers.CharField())
    cost_of_waiting = MoneyOut()
    worth_per_cost = serializers.FloatField()
    failure_chance_fraction = serializers.FloatField(help_text="Within 10,000 km like this.")
    failure_cost = MoneyOut()
    terms = TermsOut()
    do_before = serializers.DateField(allow_null=True)
    before_driving = serializers.BooleanField()
    access = serializers.ListField(child=serializers.CharField())
    follow_ups = serializers.ListField(child=serializers.CharField())
    opened_before = serializers.ListField(child=serializers.CharField())
    licensed = serializers.BooleanField()
    difficulty = serializers.IntegerField()
    cautions = serializers.ListField(child=serializers.CharField())
    reasons = serializers.ListField(child=serializers.CharField())
    alternatives = AlternativeOut(many=True)
    job_id = serializers.UUIDField(allow_null=True, help_text="The job that is open for it already.")
    job_state = serializers.ChoiceField(JOB_STATES, allow_null=True)
    planned_on = serializers.DateField(allow_null=True)


class BundledJobOut(Answer):
    job = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())


class BundleOut(Answer):
    """Jobs that can wait singly and are worth doing together."""

    jobs = BundledJobOut(many=True)
    shared = serializers.ListField(child=serializers.CharField())
    saving = MoneyOut()
    cost = MoneyOut()


class BacklogOut(Answer):
    vehicle = serializers.UUIDField()
    items = BacklogItemOut(many=True)
    can_wait = BacklogItemOut(many=True)
    bundles = BundleOut(many=True)
    looks = LookAskedOut(many=True)
    total_cost = MoneyOut()
    as_of = serializers.DateField()


class StoodOut(Answer):
    rank = serializers.IntegerField(allow_null=True, help_text="null: it could wait.")
    worth_per_cost = serializers.FloatField()
    cost_now = MoneyOut()


class BacklogChangeOut(Answer):
    what = serializers.ChoiceField([CAME, WENT, POSTPONED, ROSE, FELL, COST])
    job = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    causes = serializers.ListField(child=serializers.CharField())
    because = serializers.CharField()
    before = StoodOut(allow_null=True)
    after = StoodOut(allow_null=True)


class BacklogStepOut(Answer):
    """A day on which something moved, against the day on which something moved before."""

    on = serializers.DateField()
    since = serializers.DateField()
    driven_km = serializers.IntegerField()
    changes = BacklogChangeOut(many=True)
    more = serializers.IntegerField(help_text="Further changes of this step that are not kept.")


class BacklogChangesOut(Answer):
    vehicle = serializers.UUIDField()
    since = serializers.DateField(allow_null=True, help_text="The day the next changes will be told against.")
    steps = BacklogStepOut(many=True)


class FleetBacklogItemOut(BacklogItemOut):
    vehicle = serializers.UUIDField()
    vehicle_name = serializers.CharField()


class FleetBacklogOut(Answer):
    """A page of the fleet's jobs; `jobs` and `total_cost` are of all of them."""

    items = FleetBacklogItemOut(many=True)
    jobs = serializers.IntegerField()
    total_cost = MoneyOut()
    next = serializers.URLField(allow_null=True)
