"""What the API answers about fleets and vehicles, for the OpenAPI description; the tests hold the answers to it."""

from functools import cache
from typing import Any

from drf_spectacular.utils import inline_serializer
from rest_framework import serializers

from fleetcare.fleet.words import DistanceUnit, FleetKind, LimitScheme, ReadingSource, Role
from fleetcare.kernel.grades import GRADE_WORDS

Answer = serializers.Serializer[Any]


class MoneyOut(Answer):
    amount = serializers.RegexField(r"^-?[0-9]+(\.[0-9]+)?$")
    currency = serializers.RegexField(r"^[A-Z]{3}$")


@cache
def page_of(item: type[Answer]) -> Answer:
    """A cursor page of items."""
    return inline_serializer(
        f"{item.__name__}Page",
        {
            "items": item(many=True),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
        },
    )


class FleetOut(Answer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(FleetKind.choices)
    currency = serializers.CharField()
    distance_unit = serializers.ChoiceField(DistanceUnit.choices)
    time_zone = serializers.CharField()
    limit_scheme = serializers.ChoiceField(LimitScheme.choices)
    labour_per_hour = MoneyOut()
    price_factor = serializers.FloatField()
    created_at = serializers.DateTimeField()


class MemberOut(Answer):
    id = serializers.UUIDField()
    email = serializers.EmailField()
    name = serializers.CharField(allow_blank=True)
    role = serializers.ChoiceField(Role.choices)
    created_at = serializers.DateTimeField()


class InvitationOut(Answer):
    id = serializers.UUIDField()
    email = serializers.EmailField()
    role = serializers.ChoiceField(Role.choices)
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    accepted_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)


class KeyOut(Answer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    role = serializers.ChoiceField(Role.choices)
    prefix = serializers.CharField()
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField(allow_null=True)
    last_used_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)


class NewKeyOut(KeyOut):
    key = serializers.CharField(help_text="The whole key; it is shown this once only.")


class ContactOut(Answer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    email = serializers.EmailField()
    phone = serializers.CharField(allow_blank=True)
    language = serializers.CharField()
    vehicles = serializers.ListField(child=serializers.UUIDField())


class ReadingOut(Answer):
    id = serializers.UUIDField()
    read_on = serializers.DateField()
    odometer_km = serializers.FloatField(help_text="What the odometer showed.")
    total_km = serializers.FloatField(help_text="The whole distance, also over replaced odometers.")
    source = serializers.ChoiceField(ReadingSource.choices)  # type: ignore[assignment]  # an answer named so
    replacement = serializers.BooleanField()


class FuelFillOut(Answer):
    id = serializers.UUIDField()
    filled_on = serializers.DateField()
    odometer_km = serializers.FloatField(allow_null=True, help_text="What the odometer showed.")
    total_km = serializers.FloatField(allow_null=True)
    litres = serializers.FloatField()
    full = serializers.BooleanField()
    missed_before = serializers.BooleanField()
    price = MoneyOut(allow_null=True)
    note = serializers.CharField(allow_blank=True)


class NextDueOut(Answer):
    due_on = serializers.DateField()
    what = serializers.CharField()


class VehicleOut(Answer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    plate = serializers.CharField(allow_blank=True)
    vin = serializers.CharField(allow_blank=True)
    make = serializers.CharField(allow_blank=True)
    model = serializers.CharField(allow_blank=True)
    model_year = serializers.IntegerField(allow_null=True)
    first_used_on = serializers.DateField()
    traits = serializers.DictField(child=serializers.CharField())
    note = serializers.CharField(allow_blank=True)
    archived = serializers.BooleanField()
    odometer_km = serializers.FloatField(allow_null=True)
    odometer_on = serializers.DateField(allow_null=True)
    score = serializers.FloatField(allow_null=True)
    coverage_fraction = serializers.FloatField()
    worst_grade = serializers.ChoiceField(GRADE_WORDS)
    do_not_drive = serializers.BooleanField()
    open_findings = serializers.IntegerField()
    backlog_cost = MoneyOut()
    next_due = NextDueOut(allow_null=True)
    inspected_on = serializers.DateField(allow_null=True)
    being_assessed = serializers.BooleanField(help_text="The figures are older than the last write; ask again soon.")
    warnings = serializers.ListField(child=serializers.CharField())
