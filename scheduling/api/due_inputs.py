"""What clients may send about rules of scheduled work and due items."""

from typing import Any

from rest_framework import serializers

from fleetcare.fleet.api.inputs import NumberField, WithOdometer
from fleetcare.support.strict import StrictSerializer
from scheduling.words import RuleKind

_RENAMED = {"part": "part_key", "ends_odometer_km": "ends_total_km"}


class RuleIn(StrictSerializer):
    """A rule; a template gives what is left out."""

    kind = serializers.ChoiceField(RuleKind.choices, required=False)
    title = serializers.CharField(max_length=120, required=False)
    part = serializers.CharField(max_length=60, required=False, allow_blank=True)
    every_km = serializers.IntegerField(min_value=1, max_value=2_000_000, required=False, allow_null=True)
    every_months = serializers.IntegerField(min_value=1, max_value=1200, required=False, allow_null=True)
    ends_on = serializers.DateField(required=False, allow_null=True)
    ends_odometer_km = NumberField(min_value=0, required=False, allow_null=True)
    needs = serializers.ListField(child=serializers.CharField(max_length=200), required=False, max_length=20)
    make = serializers.CharField(max_length=60, required=False, allow_blank=True)
    model = serializers.CharField(max_length=60, required=False, allow_blank=True)
    lead_days = serializers.IntegerField(min_value=0, max_value=366, required=False)
    safety = serializers.BooleanField(required=False)
    source = serializers.CharField(max_length=200, required=False, allow_blank=True)  # type: ignore[assignment]
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {_RENAMED.get(name, name): value for name, value in attrs.items()}


class RuleNew(RuleIn):
    template = serializers.CharField(max_length=60, required=False, allow_blank=True)


class RuleChange(RuleIn):
    active = serializers.BooleanField(required=False)


class DoneIn(WithOdometer):
    """That it was done, and when; the odometer where somebody read it."""

    odometer_needed = False
    done_on = serializers.DateField()
    next_ends_on = serializers.DateField(required=False, allow_null=True)


class RuleDoneNew(DoneIn):
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)


class DueChange(StrictSerializer):
    snoozed_until = serializers.DateField(allow_null=True)
