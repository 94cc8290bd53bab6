"""What the API answers about backlogs, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.kernel.grades import GRADE_WORDS


class TermsOut(Answer):
    """What the best way to wait is expected to cost, term by term."""

    failure = MoneyOut()
    later_job = MoneyOut()
    dangerous_driving = MoneyOut()
    major_driving = MoneyOut()
    renewal_credit = MoneyOut()
    best_way_to_wait = serializers.CharField()


class BacklogItemOut(Answer):
    rank = serializers.IntegerField()
    job = serializers.CharField()
    title = serializers.CharField()
    part = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    cost_now = MoneyOut()
    hours = serializers.FloatField()
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
    total_cost = MoneyOut()
    as_of = serializers.DateField()


class FleetBacklogItemOut(BacklogItemOut):
    vehicle = serializers.UUIDField()
    vehicle_name = serializers.CharField()


class FleetBacklogOut(Answer):
    items = FleetBacklogItemOut(many=True)
    total_cost = MoneyOut()


class PlannedJobRefOut(Answer):
    vehicle = serializers.UUIDField()
    job = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())


class PlannedJobOut(PlannedJobRefOut):
    cost = MoneyOut()
    hours = serializers.FloatField()
    before_driving = serializers.BooleanField()


class SharedWorkOut(Answer):
    vehicle = serializers.UUIDField()
    unit = serializers.CharField()


class VisitPlanOut(Answer):
    date = serializers.DateField()
    jobs = PlannedJobOut(many=True)
    access = SharedWorkOut(many=True)
    follow_ups = SharedWorkOut(many=True)
    hours = serializers.FloatField()
    cost = MoneyOut()


class LeftOutOut(PlannedJobRefOut):
    code = serializers.CharField()
    why = serializers.CharField()


class LooseningOut(Answer):
    """A rule that would have to give, and by how much."""

    rule = serializers.CharField()
    amount = serializers.JSONField()
    visit = serializers.DateField(allow_null=True)
    job = PlannedJobRefOut(allow_null=True)


class PlanOut(Answer):
    visits = VisitPlanOut(many=True)
    left_out = LeftOutOut(many=True)
    value = MoneyOut(help_text="What the plan saves against the best ways to wait.")
    bound = MoneyOut(help_text="No plan saves more.")
    gap_fraction = serializers.FloatField()
    status = serializers.ChoiceField(["optimal", "feasible", "infeasible"])
    ways_out = serializers.ListField(child=LooseningOut(many=True))
