"""What clients may send about prices and who does the work."""

from decimal import Decimal

from rest_framework import serializers

from fleetcare.fleet.api.inputs import NumberField, ZeroOrMoreMoney
from fleetcare.fleet.words import Doer, Raising
from fleetcare.support.strict import StrictSerializer

MOST_TOOLS = 500


class PartsPriceIn(StrictSerializer):
    """What the parts of one job cost; bounds left out are the catalogue's, in proportion."""

    low = ZeroOrMoreMoney(required=False)
    typical = ZeroOrMoreMoney()
    high = ZeroOrMoreMoney(required=False)


class JobPriceIn(StrictSerializer):
    """The fleet's own figures of a job; what is left out, the catalogue says."""

    parts = PartsPriceIn(required=False, allow_null=True)
    hours = NumberField(
        min_value=Decimal("0.05"), max_value=Decimal(200), decimal_places=2, required=False, allow_null=True,
        help_text="Of the job itself, without taking off wheels and the like.",
    )  # fmt: skip
    done_by = serializers.ChoiceField(Doer.choices, required=False, allow_null=True)
    note = serializers.CharField(max_length=500, required=False, allow_blank=True)


class WorkTermsIn(StrictSerializer):
    """Who does what in the fleet, and what an hour counts for."""

    done_by = serializers.ChoiceField(Doer.choices, default=Doer.OWN)
    own_hour = ZeroOrMoreMoney(required=False, allow_null=True, help_text="Left out: the fleet's labour rate.")
    workshop_hour = ZeroOrMoreMoney(required=False, allow_null=True)
    hardest_own = serializers.IntegerField(min_value=0, max_value=5, default=5)
    licensed_here = serializers.BooleanField(default=False)
    raising = serializers.ChoiceField(Raising.choices, default=Raising.STANDS)
    tools = serializers.ListField(
        child=serializers.CharField(max_length=120), max_length=MOST_TOOLS, required=False, allow_null=True,
        help_text="Every tool there is, in the catalogue's words; left out: all but those lacking.",
    )  # fmt: skip
    tools_lacking = serializers.ListField(
        child=serializers.CharField(max_length=120), max_length=MOST_TOOLS, required=False
    )
