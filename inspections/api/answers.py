"""What the API answers about inspections, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.kernel.grades import GRADE_WORDS
from inspections.words import InspectionState


FINDING_STATES = ["open", "closed"]


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
