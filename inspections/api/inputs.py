"""What clients may send about inspections."""

from collections.abc import Callable
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleetcare.fleet.api.inputs import WithOdometer
from fleetcare.kernel.grades import GRADE_WORDS
from fleetcare.support.strict import StrictSerializer
from inspections.words import InspectionState, Removal

MOST_RESULTS = 1000
MOST_ENTRIES = 200
_MOST_FIGURE, _MOST_OBSERVATIONS = 1e6, 20


class FigureField(serializers.FloatField):
    """A finite JSON number."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            raise ValidationError([ErrorDetail("A number is needed.", "not-a-number")])
        return super().to_internal_value(data)


class MeasurementIn(StrictSerializer):
    value = FigureField(min_value=-_MOST_FIGURE, max_value=_MOST_FIGURE)
    unit = serializers.CharField(max_length=12)


class ResultIn(StrictSerializer):
    check = serializers.CharField(max_length=100)
    position = serializers.CharField(max_length=40, required=False, allow_null=True)
    grade = serializers.ChoiceField(GRADE_WORDS, required=False)
    measurement = MeasurementIn(required=False)
    observations = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, max_length=_MOST_OBSERVATIONS
    )
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    not_examined = serializers.CharField(max_length=200, required=False)


def _is_plain_text(value: Any, most: int) -> bool:
    return type(value) is str and 0 < len(value) <= most and value.isprintable() and value == value.strip()


def _is_plain_figure(value: Any) -> bool:
    known = type(value) is dict and value.keys() == {"value", "unit"} and type(value["value"]) in {int, float}
    return known and abs(value["value"]) <= _MOST_FIGURE and _is_plain_text(value["unit"], 12)


_PLAIN: dict[str, Callable[[Any], bool]] = {
    "check": lambda value: _is_plain_text(value, 100),
    "position": lambda value: value is None or _is_plain_text(value, 40),
    "grade": lambda value: type(value) is str and value in GRADE_WORDS,
    "measurement": _is_plain_figure,
    "observations": lambda value: (
        type(value) is list and len(value) <= _MOST_OBSERVATIONS and all(_is_plain_text(each, 60) for each in value)
    ),
    "note": lambda value: value == "" or _is_plain_text(value, 2000),
    "not_examined": lambda value: _is_plain_text(value, 200),
}


def is_plain(result: Any) -> bool:
    """Whether a result is one that `ResultIn` takes as it stands: no field of it could be found wrong or changed."""
    return (
        type(result) is dict
        and "check" in result
        and all(name in _PLAIN and _PLAIN[name](value) for name, value in result.items())
    )


class ResultsField(serializers.ListField):
    """Results. Most are plainly right, and going through every field of sixty takes longer than storing them."""

    def to_internal_value(self, data: Any) -> Any:
        if type(data) is list and data and all(is_plain(each) for each in data):
            return data
        return super().to_internal_value(data)


class InspectionIn(WithOdometer):
    inspected_on = serializers.DateField()
    sheet = serializers.CharField(max_length=60, default="full")
    inspector = serializers.CharField(max_length=120, required=False, allow_blank=True)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    results = ResultsField(child=ResultIn(), max_length=MOST_RESULTS)
    trouble_codes = serializers.ListField(child=serializers.CharField(max_length=10), required=False, max_length=50)
    state = serializers.ChoiceField(InspectionState.choices, default=InspectionState.COMPLETED)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        if attrs["state"] == InspectionState.COMPLETED and not attrs["results"]:
            raise ValidationError({"results": [ErrorDetail("An inspection has at least one result.", "no-results")]})
        return attrs


class InspectionNew(InspectionIn):
    id = serializers.UUIDField(required=False)


class EntryIn(ResultIn):
    """A result said on the way: the device's own id for it, so that it can be sent again, and how old it is."""

    id = serializers.UUIDField(required=False)
    age_seconds = FigureField(
        required=False, min_value=0, max_value=1e8, help_text="Since it was said, by the device's own clock."
    )
    same_as_last = serializers.BooleanField(
        required=False, help_text="In the place of a result: found as last time. Not for what was measured."
    )


class ResultsIn(StrictSerializer):
    results = serializers.ListField(child=EntryIn(), max_length=MOST_RESULTS)


class QueuedEntryIn(EntryIn):
    id = serializers.UUIDField()


class EntriesIn(StrictSerializer):
    """What a phone gathered, in the order of saying; `device` tells phones of one person apart."""

    device = serializers.UUIDField(required=False)
    entries = serializers.ListField(child=QueuedEntryIn(), max_length=MOST_ENTRIES, min_length=1)

    def validate_entries(self, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
        if len({entry["id"] for entry in entries}) < len(entries):
            raise ValidationError([ErrorDetail("Each id once.", "twice")])
        return entries


class FindingChangeIn(StrictSerializer):
    """Either put off (`deferred_until` and `because`) or dismissed (`dismissed: true` and `because`)."""

    deferred_until = serializers.DateField(required=False)
    dismissed = serializers.BooleanField(required=False)
    because = serializers.CharField(max_length=200)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("deferred_until" in attrs) == bool(attrs.get("dismissed")):
            sentence = "Give deferred_until, or dismissed as true."
            raise ValidationError({"deferred_until": [ErrorDetail(sentence, "one-of-two")]})
        return attrs


class PartFitted(WithOdometer):
    part = serializers.CharField(max_length=60)
    position = serializers.CharField(max_length=40, required=False, allow_null=True)
    fitted_on = serializers.DateField()
    removal = serializers.ChoiceField(
        Removal.choices, default=Removal.UNKNOWN, help_text="Why the part before it came off."
    )
    description = serializers.CharField(max_length=120, required=False, allow_blank=True)
    part_number = serializers.CharField(max_length=60, required=False, allow_blank=True)


class SuspectsIn(StrictSerializer):
    """What was noticed, by the keys of `catalogue/complaints/` and by codes, and what was looked for in vain."""

    complaints = serializers.ListField(child=serializers.CharField(max_length=60), required=False, max_length=50)
    trouble_codes = serializers.ListField(child=serializers.CharField(max_length=10), required=False, max_length=50)
    absent = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, max_length=100, help_text="Complaints or codes."
    )
