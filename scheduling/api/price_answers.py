"""What the API answers about prices and who does the work."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from fleetcare.fleet.words import Doer, Raising
from scheduling.api.answers import HoursRangeOut, MoneyRangeOut


class PartsPriceOut(Answer):
    low = MoneyOut(allow_null=True)
    typical = MoneyOut()
    high = MoneyOut(allow_null=True)


class JobPriceOut(Answer):
    """A job's figures: what the fleet says, and what is reckoned with after what closed jobs taught."""

    job = serializers.CharField()
    title = serializers.CharField()
    parts = PartsPriceOut(allow_null=True)
    hours = serializers.FloatField(allow_null=True)
    done_by = serializers.ChoiceField(Doer.choices, allow_null=True)
    note = serializers.CharField(allow_blank=True)
    reckoned_parts = MoneyRangeOut()
    reckoned_hours = HoursRangeOut()
    reckoned_done_by = serializers.ChoiceField(Doer.choices)
    done_by_because = serializers.ListField(child=serializers.CharField())
    hour_costs = MoneyOut()
    closed_jobs = serializers.IntegerField()


class WorkTermsOut(Answer):
    done_by = serializers.ChoiceField(Doer.choices)
    own_hour = MoneyOut()
    workshop_hour = MoneyOut()
    hardest_own = serializers.IntegerField()
    licensed_here = serializers.BooleanField()
    raising = serializers.ChoiceField(Raising.choices)
    tools = serializers.ListField(child=serializers.CharField(), allow_null=True)
    tools_lacking = serializers.ListField(child=serializers.CharField())
    said = serializers.BooleanField(help_text="false: nobody has said so yet; this is what usually holds.")
