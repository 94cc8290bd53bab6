"""What clients may send about jobs and kit lists."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleetcare.fleet.api.inputs import NumberField, WithOdometer, ZeroOrMoreMoney
from fleetcare.support.strict import StrictSerializer
from inspections.words import Removal
from scheduling.services.jobs import Closing, PartLine
from scheduling.services.jobs.kit import MOST_JOBS
from scheduling.words import JobOrigin

MOST_LINES = 50
ORIGINS_BY_HAND = [(origin.value, origin.label) for origin in JobOrigin if origin != JobOrigin.ESTIMATE]


class JobChange(StrictSerializer):
    title = serializers.CharField(max_length=160, required=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    assigned_to = serializers.CharField(max_length=120, required=False, allow_blank=True)


class JobNew(StrictSerializer):
    """`job` and `positions` of the catalogue, as the backlog names them, or a free one with a `title`."""

    id = serializers.UUIDField(required=False)
    job = serializers.CharField(max_length=100, required=False)
    title = serializers.CharField(max_length=160, required=False)
    part = serializers.CharField(max_length=60, required=False)
    positions = serializers.ListField(child=serializers.CharField(max_length=40), required=False, max_length=20)
    origin = serializers.ChoiceField(ORIGINS_BY_HAND, default=JobOrigin.HAND)
    safety = serializers.BooleanField(default=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)


class JobPlanIn(StrictSerializer):
    planned_on = serializers.DateField()
    assigned_to = serializers.CharField(max_length=120, required=False, allow_blank=True)


class JobStartIn(StrictSerializer):
    assigned_to = serializers.CharField(max_length=120, required=False, allow_blank=True)


class JobDeclineIn(StrictSerializer):
    reason = serializers.CharField(max_length=500)
    decided_by = serializers.CharField(max_length=120, required=False, help_text="Who, where it is not you.")


class JobDeferIn(JobDeclineIn):
    deferred_until = serializers.DateField()


class PartLineIn(StrictSerializer):
    """What was bought, in your own words."""

    description = serializers.CharField(max_length=120)
    part_number = serializers.CharField(max_length=60, required=False, allow_blank=True)
    quantity = NumberField(min_value=Decimal("0.01"), max_value=Decimal(9_999), decimal_places=2, default=Decimal(1))
    price = ZeroOrMoreMoney(required=False, help_text="Of one.")
    warranty_until = serializers.DateField(required=False, allow_null=True)
    warranty_km = serializers.IntegerField(
        min_value=1, max_value=1_000_000, required=False, allow_null=True, help_text="Distance from the fitting."
    )
    position = serializers.CharField(max_length=40, required=False, help_text="Where it went; absent: everywhere.")
    fitted = serializers.BooleanField(
        default=False, help_text="This is the part that the job renews; where none says so, it is the first line."
    )


class JobCloseIn(WithOdometer):
    done_on = serializers.DateField()
    hours = NumberField(min_value=0, max_value=Decimal(1_000), decimal_places=2, required=False, allow_null=True)
    labour = ZeroOrMoreMoney(required=False, allow_null=True)
    parts_cost = ZeroOrMoreMoney(
        required=False, allow_null=True, help_text="All parts; what the lines add up to where it is absent."
    )
    other = ZeroOrMoreMoney(required=False, allow_null=True, help_text="A tow, work given out, the hire of a tool.")
    removal = serializers.ChoiceField(
        Removal.choices, default=Removal.UNKNOWN, help_text="Why what was renewed came off."
    )
    parts = serializers.ListField(child=PartLineIn(), required=False, max_length=MOST_LINES)
    findings = serializers.ListField(
        child=serializers.UUIDField(),
        required=False,
        max_length=100,
        help_text="Findings it put right; absent: those that the catalogue says such a job remedies.",
    )
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)

    def validate_findings(self, findings: list[Any]) -> list[Any]:
        if len(set(findings)) < len(findings):
            raise ValidationError([ErrorDetail("Each finding once.", "twice")])
        return findings


class KitIn(StrictSerializer):
    jobs = serializers.ListField(child=serializers.UUIDField(), min_length=1, max_length=MOST_JOBS)


def closing_of(values: dict[str, Any]) -> Closing:
    """The closing that a checked body means."""
    findings = values.get("findings")
    return Closing(
        done_on=values["done_on"],
        shown_km=values["shown_km"],
        hours=values.get("hours"),
        labour_minor=values.get("labour"),
        parts_minor=values.get("parts_cost"),
        other_minor=values.get("other"),
        removal=Removal(values["removal"]),
        parts=tuple(_line(line) for line in values.get("parts", ())),
        findings=None if findings is None else tuple(findings),
        note=values.get("note"),
        odometer_pointer=values["odometer_pointer"],
    )


def _line(values: dict[str, Any]) -> PartLine:
    price = values.pop("price", 0)
    return PartLine(price_minor=price, **values)
