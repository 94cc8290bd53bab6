"""What clients may send about estimates."""

from decimal import Decimal

from rest_framework import serializers

from fleetcare.fleet.api.inputs import NumberField, ZeroOrMoreMoney
from fleetcare.support.strict import StrictSerializer

MOST_LINES = 50
MOST_OPTIONS = 5


class OptionIn(StrictSerializer):
    """One way to do it: a job that is open (`job_id`), one of the catalogue (`job`, `positions`), or a title alone."""

    title = serializers.CharField(max_length=160, required=False)
    job_id = serializers.UUIDField(required=False, allow_null=True)
    job = serializers.CharField(max_length=100, required=False)
    positions = serializers.ListField(child=serializers.CharField(max_length=40), required=False, max_length=20)
    hours = NumberField(min_value=0, max_value=Decimal(1_000), decimal_places=2, required=False, allow_null=True)
    parts = ZeroOrMoreMoney(
        required=False, help_text="Where neither parts nor labour is said, a job of the catalogue is priced by it."
    )
    labour = ZeroOrMoreMoney(required=False)


class LineIn(StrictSerializer):
    title = serializers.CharField(max_length=160, required=False)
    explanation = serializers.CharField(max_length=1000, required=False, allow_blank=True)
    safety = serializers.BooleanField(default=False, help_text="Adds to what the catalogue says of the jobs.")
    options = serializers.ListField(child=OptionIn(), min_length=1, max_length=MOST_OPTIONS)


class EstimateIn(StrictSerializer):
    contact = serializers.UUIDField(required=False, allow_null=True)
    customer = serializers.CharField(max_length=120, required=False, allow_blank=True)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    tax_percent = NumberField(
        min_value=0,
        max_value=100,
        max_digits=5,
        decimal_places=2,
        required=False,
        allow_null=True,
        help_text="Added to the prices; absent: they are to be paid as they stand.",
    )
    lines = serializers.ListField(child=LineIn(), max_length=MOST_LINES)


class SendIn(StrictSerializer):
    valid_until = serializers.DateField(required=False, help_text="The last day, in the fleet's zone; 14 days.")
