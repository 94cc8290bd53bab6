"""What the API answers about plans, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.fleet.words import Doer
from fleetcare.kernel.grades import GRADE_WORDS
from scheduling.core.plan_changes import CODES
from scheduling.services.plans.telling import WHY
from scheduling.words import PlanState

STATUSES = ["optimal", "feasible", "infeasible"]
OUTDATED = ["vehicle-changed", "vehicle-gone", "vehicle-added", "prices-changed", "visit-past"]
FRONTIER_OF = ["money", "hours"]
RULES = ["money", "minutes", "person-minutes", "lift-minutes", "bay-minutes", "latest-day", "must"]


class PlannedJobRefOut(Answer):
    vehicle = serializers.UUIDField()
    job = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())


class PlannedJobOut(PlannedJobRefOut):
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    cost = MoneyOut(help_text="What it takes from the visit's money, without what it shares with other jobs.")
    hours = serializers.FloatField()
    saves = MoneyOut(help_text="Expected cost of waiting less its own, if done at the first visit.")
    before_driving = serializers.BooleanField()
    wanted = serializers.BooleanField(help_text="A wish makes it a must.")
    person = serializers.CharField(allow_null=True)
    difficulty = serializers.IntegerField()
    licensed = serializers.BooleanField()
    done_by = serializers.ChoiceField(
        Doer.choices, help_text="What a workshop does takes money, and none of the visit's hours."
    )
    bay = serializers.ChoiceField(["stands", "lift"], allow_null=True)


class SharedWorkOut(Answer):
    vehicle = serializers.UUIDField()
    unit = serializers.CharField()
    done_by = serializers.ChoiceField(Doer.choices)


class VisitPlanOut(Answer):
    date = serializers.DateField()
    cautions = serializers.ListField(child=serializers.CharField(), help_text="To be shown before the jobs.")
    jobs = PlannedJobOut(many=True)
    access = SharedWorkOut(many=True)
    follow_ups = SharedWorkOut(many=True)
    hours = serializers.FloatField()
    hours_there = serializers.FloatField()
    cost = MoneyOut()
    budget = MoneyOut()
    saves = MoneyOut()


class LeftOutOut(PlannedJobRefOut):
    code = serializers.ChoiceField(list(WHY))
    why = serializers.CharField()


class LooseningOut(Answer):
    """A rule that would have to give, and by how much."""

    rule = serializers.ChoiceField(RULES)
    amount = serializers.JSONField()
    visit = serializers.DateField(allow_null=True)
    person = serializers.CharField(allow_null=True)
    job = PlannedJobRefOut(allow_null=True)
    say = serializers.CharField()


class PlanWarningOut(Answer):
    """What stays dangerous, or until when."""

    code = serializers.ChoiceField(["stays-dangerous", "dangerous-until"])
    vehicle = serializers.UUIDField()
    part = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    date = serializers.DateField(allow_null=True)
    say = serializers.CharField()


class OutdatedOut(Answer):
    code = serializers.ChoiceField(OUTDATED)
    say = serializers.CharField()
    vehicles = serializers.ListField(child=serializers.UUIDField())


class PlanSummaryOut(Answer):
    id = serializers.UUIDField()
    title = serializers.CharField(allow_blank=True)
    made_on = serializers.DateField()
    created_at = serializers.DateTimeField()
    state = serializers.ChoiceField(PlanState.choices)
    status = serializers.ChoiceField(STATUSES)
    value = MoneyOut(help_text="What the plan saves against the best ways to wait.")
    bound = MoneyOut(help_text="No plan saves more.")
    planned_jobs = serializers.IntegerField()
    first_visit = serializers.DateField()
    vehicles = serializers.IntegerField(help_text="How many it plans for.")
    replaces = serializers.UUIDField(allow_null=True)
    outdated = serializers.BooleanField(help_text="What it rests on has changed; renew it.")
    outdated_because = OutdatedOut(many=True)


class PersonAskedOut(Answer):
    name = serializers.CharField()
    hours = serializers.FloatField()
    skills = serializers.ListField(child=serializers.CharField())


class VisitAskedOut(Answer):
    date = serializers.DateField()
    hours = serializers.FloatField()
    budget = MoneyOut()
    people = PersonAskedOut(many=True)
    stands_hours = serializers.FloatField(required=False)
    lift_hours = serializers.FloatField(required=False)
    vehicles = serializers.ListField(child=serializers.UUIDField())


class JobRefOut(Answer):
    vehicle = serializers.UUIDField()
    job = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())


class WishAskedOut(JobRefOut):
    must = serializers.BooleanField(required=False)
    leave_out = serializers.BooleanField(required=False)
    not_before = serializers.DateField(required=False)
    not_after = serializers.DateField(required=False)
    requires = JobRefOut(many=True, required=False)
    excludes = JobRefOut(many=True, required=False)
    skills = serializers.ListField(child=serializers.CharField(), required=False)


class AskedOut(Answer):
    """What was asked for, to be changed and sent again."""

    vehicles = serializers.ListField(child=serializers.UUIDField())
    visits = VisitAskedOut(many=True)
    wishes = WishAskedOut(many=True)
    carry_over = serializers.BooleanField()


class CauseOut(Answer):
    code = serializers.ChoiceField(list(CODES))
    say = serializers.CharField()
    on = serializers.DateField(allow_null=True)


class VisitsBeforeAfterOut(Answer):
    before = serializers.DateField(allow_null=True)
    after = serializers.DateField(allow_null=True)


class MoneyBeforeAfterOut(Answer):
    before = MoneyOut(allow_null=True)
    after = MoneyOut(allow_null=True)


class PlanChangeOut(PlannedJobRefOut):
    kind = serializers.ChoiceField(["went-out", "came-in", "moved", "cost-changed", "worth-changed"])
    visit = VisitsBeforeAfterOut()
    cost = MoneyBeforeAfterOut()
    worth = MoneyBeforeAfterOut()
    left_out = serializers.ChoiceField(
        [*WHY, "not-in-backlog"], allow_null=True, help_text="Of a job that went out: why it is left out now."
    )
    because = CauseOut(many=True)


class PlanOut(PlanSummaryOut):
    asked = AskedOut()
    visits = VisitPlanOut(many=True)
    left_out = LeftOutOut(many=True)
    gap_fraction = serializers.FloatField()
    ways_out = serializers.ListField(child=LooseningOut(many=True))
    warnings = PlanWarningOut(many=True)
    changes = PlanChangeOut(
        many=True, allow_null=True, help_text="What moved against the plan it replaces; null where it replaces none."
    )


class BoughtOut(Answer):
    """What a step buys beyond the one before."""

    value = MoneyOut(allow_null=True)
    came_in = PlannedJobRefOut(many=True)
    went_out = PlannedJobRefOut(many=True)


class FrontierPointOut(Answer):
    amount = MoneyOut(allow_null=True)
    hours = serializers.FloatField(allow_null=True)
    status = serializers.ChoiceField(STATUSES)
    value = MoneyOut(allow_null=True, help_text="null where not all that must be done fits.")
    bound = MoneyOut(allow_null=True)
    gap_fraction = serializers.FloatField(allow_null=True)
    jobs = serializers.IntegerField()
    bought = BoughtOut()


class FrontierOut(Answer):
    of = serializers.ChoiceField(FRONTIER_OF)
    points = FrontierPointOut(many=True)
