"""What clients may send about fleets and vehicles."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from fleetcare.fleet.words import DistanceUnit, FleetKind, LimitScheme, Role
from fleetcare.kernel.money import minor_digits
from fleetcare.kernel.units import TO_BASE, to_km, to_litres
from fleetcare.support.strict import StrictSerializer


class NumberField(serializers.DecimalField):
    """A JSON number kept exactly; text that looks like a number is a fault."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"max_digits": 12, "decimal_places": 3, "coerce_to_string": False, **options})

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | float):
            raise ValidationError([ErrorDetail("A number is needed.", "not-a-number")])
        return super().to_internal_value(data)


class MoneyIn(StrictSerializer):
    """An amount: a decimal string and the fleet's currency."""

    amount = serializers.RegexField(r"^-?[0-9]{1,12}(\.[0-9]{1,4})?$")
    currency = serializers.RegexField(r"^[A-Z]{3}$")

    def validate(self, attrs: dict[str, Any]) -> Any:
        """The amount in minor units."""
        access = self.context.get("access")
        if access is not None and attrs["currency"] != access.fleet.currency:
            sentence = f"Amounts of this fleet are in {access.fleet.currency}."
            raise ValidationError({"currency": [ErrorDetail(sentence, "other-currency")]})
        amount = Decimal(attrs["amount"])
        if -amount.as_tuple().exponent > minor_digits(attrs["currency"]):  # type: ignore[operator]
            raise ValidationError({"amount": [ErrorDetail("More digits than the currency has.", "digits")]})
        return int(amount.scaleb(minor_digits(attrs["currency"])))


class ZeroOrMoreMoney(MoneyIn):
    amount = serializers.RegexField(r"^[0-9]{1,12}(\.[0-9]{1,4})?$")


class FleetChange(StrictSerializer):
    name = serializers.CharField(max_length=120)
    distance_unit = serializers.ChoiceField(DistanceUnit.choices, required=False)
    time_zone = serializers.CharField(max_length=64)
    limit_scheme = serializers.ChoiceField(LimitScheme.choices, required=False)
    labour_per_hour = ZeroOrMoreMoney(required=False)
    price_factor = NumberField(decimal_places=4, min_value=Decimal("0.0001"), required=False)


class FleetNew(FleetChange):
    kind = serializers.ChoiceField(FleetKind.choices)
    currency = serializers.RegexField(r"^[A-Z]{3}$")


class MemberNew(StrictSerializer):
    email = serializers.EmailField()
    role = serializers.ChoiceField(Role.choices)


class InvitationNew(MemberNew):
    """Whom to invite, and as what."""


class MemberChange(StrictSerializer):
    role = serializers.ChoiceField(Role.choices)


class KeyNew(StrictSerializer):
    name = serializers.CharField(max_length=80)
    role = serializers.ChoiceField(Role.choices)
    expires_at = serializers.DateTimeField(required=False, allow_null=True)


class ContactIn(StrictSerializer):
    name = serializers.CharField(max_length=120)
    email = serializers.EmailField()
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    language = serializers.RegexField(r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$", required=False)
    vehicles = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=500)


class Distance(StrictSerializer):
    value = NumberField(min_value=0)
    unit = serializers.ChoiceField(DistanceUnit.choices)


class WithOdometer(StrictSerializer):
    """A body with what the odometer showed: `odometer_km`, or `odometer` with a value and a unit."""

    odometer_km = NumberField(min_value=0, required=False)
    odometer = Distance(required=False)
    odometer_needed = True

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        given = [name for name in ("odometer_km", "odometer") if name in attrs]
        if len(given) > 1:
            raise ValidationError({"odometer": [ErrorDetail("Give odometer_km or odometer, not both.", "twice")]})
        if not given:
            if self.odometer_needed and not self.partial:
                raise ValidationError({"odometer_km": [ErrorDetail("This field is required.", "required")]})
            return attrs
        distance = attrs.pop("odometer", None)
        shown = attrs.pop("odometer_km", None)
        attrs["shown_km"] = shown if distance is None else to_km(distance["value"], distance["unit"])
        attrs["odometer_pointer"] = "/odometer_km" if distance is None else "/odometer/value"
        return attrs


class OdometerNew(WithOdometer):
    read_on = serializers.DateField()
    replacement = serializers.BooleanField(required=False, default=False)


VOLUME_UNITS = list(TO_BASE["L"])


class Volume(StrictSerializer):
    value = NumberField(min_value=0)
    unit = serializers.ChoiceField(VOLUME_UNITS)


class FuelFillNew(WithOdometer):
    """A fill: `litres`, or `volume` with a value and a unit; the odometer where somebody read it."""

    odometer_needed = False
    id = serializers.UUIDField(required=False)
    filled_on = serializers.DateField()
    litres = NumberField(min_value=0, required=False)
    volume = Volume(required=False)
    full = serializers.BooleanField(help_text="Filled to the top.")
    missed_before = serializers.BooleanField(
        default=False, help_text="At least one fill since the one before was not written down."
    )
    price = ZeroOrMoreMoney(required=False, allow_null=True, help_text="What the fill cost in all.")
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        if "litres" in attrs and "volume" in attrs:
            raise ValidationError({"volume": [ErrorDetail("Give litres or volume, not both.", "twice")]})
        volume = attrs.pop("volume", None)
        if volume is not None:
            attrs["litres"] = to_litres(volume["value"], volume["unit"])
        elif "litres" not in attrs:
            raise ValidationError({"litres": [ErrorDetail("This field is required.", "required")]})
        attrs["litres_pointer"] = "/litres" if volume is None else "/volume/value"
        return attrs


class VehicleIn(StrictSerializer):
    name = serializers.CharField(max_length=80)
    plate = serializers.CharField(max_length=20, required=False, allow_blank=True)
    vin = serializers.CharField(max_length=25, required=False, allow_blank=True)
    make = serializers.CharField(max_length=60, required=False, allow_blank=True)
    model = serializers.CharField(max_length=60, required=False, allow_blank=True)
    model_year = serializers.IntegerField(min_value=1885, max_value=2100, required=False, allow_null=True)
    first_used_on = serializers.DateField()
    traits = serializers.DictField(child=serializers.CharField(max_length=40), required=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    archived = serializers.BooleanField(required=False)


class VehicleNew(VehicleIn):
    id = serializers.UUIDField(required=False)
