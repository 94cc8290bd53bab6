"""What clients may send to the decider."""

from decimal import Decimal

from rest_framework import serializers

from fleetcare.fleet.api.inputs import NumberField, ZeroOrMoreMoney
from fleetcare.support.strict import StrictSerializer

MOST_VISITS = 20


class VisitIn(StrictSerializer):
    date = serializers.DateField()
    hours = NumberField(min_value=Decimal("0.25"), max_value=Decimal(1000), decimal_places=2)
    budget = ZeroOrMoreMoney()


class PlanNew(StrictSerializer):
    """Vehicles (all of the fleet where none are named) and the visits there are."""

    vehicles = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=500)
    visits = serializers.ListField(child=VisitIn(), min_length=1, max_length=MOST_VISITS)
    exact = serializers.BooleanField(default=True, help_text="false: a good plan with its bound, at once.")
