"""What the API answers about inspections, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.kernel.grades import GRADE_WORDS
from inspections.words import InspectionState

FINDING_STATES = ["open", "closed"]
ENTRY_STATES = ["stored", "overtaken", "refused"]


class MeasuredOut(Answer):
    value = serializers.FloatField()
    unit = serializers.CharField(allow_blank=True)


class ResultOut(Answer):
    id = serializers.UUIDField()
    check = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS, required=False)
    measurement = MeasuredOut(required=False)
    observations = serializers.ListField(child=serializers.CharField(), required=False)
    note = serializers.CharField(allow_blank=True)
    not_examined = serializers.CharField(required=False)
    same_as_last = serializers.BooleanField()


class InspectionSummaryOut(Answer):
    id = serializers.UUIDField()
    inspected_on = serializers.DateField()
    odometer_km = serializers.FloatField()
    sheet = serializers.CharField()
    inspector = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    trouble_codes = serializers.ListField(child=serializers.CharField())
    state = serializers.ChoiceField(InspectionState.choices)
    completed_at = serializers.DateTimeField(allow_null=True)


class InspectionOut(InspectionSummaryOut):
    results = ResultOut(many=True)


class EntryOut(Answer):
    id = serializers.UUIDField()
    state = serializers.ChoiceField(ENTRY_STATES)
    detail = serializers.CharField(allow_blank=True)


class EntriesOut(Answer):
    entries = EntryOut(many=True)


class FindingOut(Answer):
    id = serializers.UUIDField()
    check = serializers.CharField()
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS)
    safety = serializers.BooleanField()
    opened_on = serializers.DateField()
    seen_on = serializers.DateField()
    seen_in = serializers.UUIDField()
    state = serializers.ChoiceField(FINDING_STATES)
    closed_on = serializers.DateField(allow_null=True)
    closed_because = serializers.CharField(allow_blank=True)
    deferred_until = serializers.DateField(allow_null=True)
    deferred_because = serializers.CharField(allow_blank=True)


class PartOut(Answer):
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    safety = serializers.BooleanField()
    history = serializers.CharField()
    fitted_on = serializers.DateField(allow_null=True)
    fitted_total_km = serializers.FloatField(allow_null=True)
    description = serializers.CharField(allow_blank=True)
    part_number = serializers.CharField(allow_blank=True)


class PartsOut(Answer):
    items = PartOut(many=True)


class FittedOut(PartOut):
    id = serializers.UUIDField()
    removed_on = serializers.DateField(allow_null=True)
    removed_total_km = serializers.FloatField(allow_null=True)
    removal = serializers.CharField(allow_null=True)


class ObservationOut(Answer):
    key = serializers.CharField()
    title = serializers.CharField()
    grade = serializers.ChoiceField(GRADE_WORDS)


class LimitsOut(Answer):
    unit = serializers.CharField()
    direction = serializers.ChoiceField(["falls", "rises"])
    new = serializers.FloatField()
    minor = serializers.FloatField()
    limit = serializers.FloatField()
    limit_source = serializers.CharField()
    dangerous = serializers.FloatField(allow_null=True)
    least = serializers.FloatField()
    most = serializers.FloatField()


class RecordOut(Answer):
    observations = ObservationOut(many=True)
    measurement = LimitsOut(required=False)


class WalkCheckOut(Answer):
    check = serializers.CharField()
    part = serializers.CharField()
    system = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    method = serializers.CharField()
    tool = serializers.CharField(allow_blank=True)
    minutes = serializers.FloatField()
    cautions = serializers.ListField(child=serializers.CharField())
    record = RecordOut()
    source = serializers.CharField()  # type: ignore[assignment]  # an answer named so


class StationOut(Answer):
    station = serializers.CharField()
    title = serializers.CharField()
    stance = serializers.CharField()
    cautions = serializers.ListField(child=serializers.CharField())
    minutes = serializers.FloatField()
    checks = WalkCheckOut(many=True)


class WalkOut(Answer):
    sheet = serializers.CharField()
    minutes = serializers.FloatField()
    stations = StationOut(many=True)


class IntervalOut(Answer):
    low = serializers.FloatField()
    high = serializers.FloatField()
    level = serializers.FloatField()


class ContributionOut(Answer):
    system = serializers.CharField()
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    points = serializers.FloatField()
    since_look_km = serializers.FloatField(allow_null=True, help_text="Of wear, on the part's own clock.")
    reason = serializers.CharField()


class DangerOut(Answer):
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    why = serializers.CharField()


class ConditionOut(Answer):
    score = serializers.FloatField()
    interval = IntervalOut()
    coverage_fraction = serializers.FloatField()
    worst_grade = serializers.ChoiceField(GRADE_WORDS)
    do_not_drive = serializers.BooleanField()
    dangers = DangerOut(many=True)
    next_year_cost = MoneyOut()
    contributions = ContributionOut(many=True)
    as_of = serializers.DateField()
    disclaimer = serializers.CharField()


class BandOut(Answer):
    low = serializers.FloatField()
    expected = serializers.FloatField()
    high = serializers.FloatField()
    level = serializers.FloatField()


class UsageOut(Answer):
    km_per_year = BandOut()
    odometer_now_km = BandOut()
    readings = serializers.IntegerField()


class DaysOut(Answer):
    low = serializers.DateField(allow_null=True)
    expected = serializers.DateField(allow_null=True)
    high = serializers.DateField(allow_null=True)


class KilometresOut(Answer):
    low = serializers.FloatField(allow_null=True)
    expected = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class RenewalOut(Answer):
    """A new part seems to have been fitted unrecorded, between these days."""

    chance_fraction = serializers.FloatField()
    earliest = serializers.DateField()
    latest = serializers.DateField()
    question = serializers.CharField()


class MeasuredForecastOut(Answer):
    check = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    limit = serializers.FloatField()
    readings = serializers.IntegerField()
    value_now = BandOut()
    wear_per_1000_km = BandOut()
    limit_on = DaysOut()
    limit_at_km = KilometresOut()
    limit_passed_fraction = serializers.FloatField()
    renewal_suspected = RenewalOut(allow_null=True)


class FailsOut(Answer):
    early = serializers.DateField(allow_null=True)
    expected = serializers.DateField(allow_null=True)
    late = serializers.DateField(allow_null=True)


class ExpectedOut(Answer):
    failure_chance_next_year_fraction = serializers.FloatField()
    fails = FailsOut(help_text="10 %, 50 % and 90 % of such parts have failed by these days; null: not in 60 years.")
    next_grade_on = serializers.DateField(allow_null=True)


class PartForecastOut(ExpectedOut):
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    measured = MeasuredForecastOut(allow_null=True)


class ForecastOut(Answer):
    as_of = serializers.DateField()
    usage = UsageOut()
    items = PartForecastOut(many=True)


class LifeOut(Answer):
    life_km = serializers.FloatField()
    life_cv = serializers.FloatField()
    first_sign_to_failure_km = serializers.FloatField()
    model_factor = serializers.FloatField(help_text="Contained in both: lives of the vehicle's model over the fleet's.")
    km_weight = serializers.FloatField()
    km_per_year_of_age = serializers.FloatField()
    source = serializers.CharField()  # type: ignore[assignment]  # an answer named so
    clock = serializers.CharField()


class ClockOut(Answer):
    fitted_clock_km = serializers.FloatField(allow_null=True)
    history = serializers.CharField()
    now_clock_km = serializers.FloatField()
    clock_km_per_month = serializers.FloatField()
    since_look_km = serializers.FloatField()


class LookOut(Answer):
    clock_km = serializers.FloatField()
    grade = serializers.ChoiceField(GRADE_WORDS)


class PartCostsOut(Answer):
    planned_job = MoneyOut()
    failure = MoneyOut()
    major_per_1000_km = MoneyOut()
    dangerous_per_1000_km = MoneyOut()
    next_year = MoneyOut()


class ExplanationOut(Answer):
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    usage = UsageOut()
    life = LifeOut()
    clock = ClockOut()
    looks = LookOut(many=True)
    costs = PartCostsOut()
    expected = ExpectedOut()
    measured = MeasuredForecastOut(allow_null=True)
    points = serializers.FloatField()
    digest = serializers.CharField()


class ScorePointOut(Answer):
    as_of = serializers.DateField()
    score = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    coverage_fraction = serializers.FloatField()
