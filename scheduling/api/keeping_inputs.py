"""What clients may say of keeping a vehicle or replacing it."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleetcare.fleet.api.inputs import NumberField, ZeroOrMoreMoney
from fleetcare.support.strict import StrictSerializer
from scheduling.core.keep_or_replace import Span
from scheduling.services.keep_or_replace import KeepAsk, ReplaceAsk

_MONEY = {
    "type": "object",
    "properties": {"amount": {"type": "string"}, "currency": {"type": "string"}},
    "required": ["amount", "currency"],
}


class MoneyRangeIn(StrictSerializer):
    low = ZeroOrMoreMoney()
    likely = ZeroOrMoreMoney()
    high = ZeroOrMoreMoney()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for name, below in (("likely", "low"), ("high", "likely")):
            if attrs[name] < attrs[below]:
                raise ValidationError({name: [ErrorDetail(f"This is less than {below}.", "order")]})
        return attrs


@extend_schema_field(
    {
        "oneOf": [
            _MONEY,
            {
                "type": "object",
                "properties": {"low": _MONEY, "likely": _MONEY, "high": _MONEY},
                "required": ["low", "likely", "high"],
            },
        ]
    }
)
class SumField(serializers.Field[Span, Any, Any, Any]):
    """An amount, or its range: low, likely and high."""

    def to_internal_value(self, data: Any) -> Span:
        ranged = isinstance(data, dict) and bool({"low", "likely", "high"} & set(data))
        checked = (MoneyRangeIn if ranged else ZeroOrMoreMoney)(data=data, context=self.context)
        checked.is_valid(raise_exception=True)
        said: Any = checked.validated_data
        return Span(float(said["low"]), float(said["likely"]), float(said["high"])) if ranged else Span.exactly(said)


def _years() -> NumberField:
    return NumberField(min_value=Decimal("0.5"), max_value=Decimal(30), decimal_places=2)


class KeepIn(StrictSerializer):
    years = _years()
    worth_now = SumField(help_text="What it would fetch today, as it stands.")
    worth_then = SumField(help_text="What it would fetch after these years.")
    other_per_year = SumField(help_text="Tax, insurance, parking.")
    fuel_per_year = SumField(required=False, help_text="Instead of what its recorded fills say.")
    jobs_per_year = SumField(required=False, help_text="Instead of what the judge expects, once the bill is paid.")
    risk_per_year = SumField(required=False)


class ReplaceIn(StrictSerializer):
    """Its jobs and risk a year, or its age and odometer to have them reckoned for a vehicle like yours."""

    years = _years()
    price = SumField()
    worth_then = SumField()
    other_per_year = SumField()
    fuel_per_year = SumField(required=False)
    litres_per_100_km = NumberField(min_value=Decimal("0.1"), max_value=Decimal(60), required=False)
    jobs_per_year = SumField(required=False)
    risk_per_year = SumField(required=False)
    age_years = NumberField(min_value=Decimal(0), max_value=Decimal(60), required=False)
    odometer_km = NumberField(min_value=Decimal(0), max_value=Decimal(1_500_000), required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for first, second in (("fuel_per_year", "litres_per_100_km"), ("jobs_per_year", "age_years")):
            if first in attrs and second in attrs:
                raise ValidationError({second: [ErrorDetail(f"Give {first} or {second}, not both.", "twice")]})
        if "risk_per_year" in attrs and "jobs_per_year" not in attrs:
            sentence = "Only beside jobs_per_year; otherwise it is reckoned with them."
            raise ValidationError({"risk_per_year": [ErrorDetail(sentence, "alone")]})
        return attrs


class KeepOrReplaceIn(StrictSerializer):
    interest_fraction = NumberField(min_value=Decimal(0), max_value=Decimal("0.5"), decimal_places=4, required=False)
    fuel_price = ZeroOrMoreMoney(required=False, help_text="Of a litre; instead of what recorded fills cost.")
    keep = KeepIn()
    replace = ReplaceIn()


def keep_ask(values: dict[str, Any]) -> KeepAsk:
    """What a body says of keeping."""
    return KeepAsk(
        years=float(values["years"]),
        worth_now=values["worth_now"],
        worth_then=values["worth_then"],
        other_a_year=values["other_per_year"],
        fuel_a_year=values.get("fuel_per_year"),
        jobs_a_year=values.get("jobs_per_year"),
        risk_a_year=values.get("risk_per_year"),
    )


def replace_ask(values: dict[str, Any]) -> ReplaceAsk:
    """What a body says of replacing."""
    numbers = ("litres_per_100_km", "age_years", "odometer_km")
    return ReplaceAsk(
        years=float(values["years"]),
        price=values["price"],
        worth_then=values["worth_then"],
        other_a_year=values["other_per_year"],
        fuel_a_year=values.get("fuel_per_year"),
        jobs_a_year=values.get("jobs_per_year"),
        risk_a_year=values.get("risk_per_year"),
        **{name: float(values[name]) for name in numbers if name in values},
    )
