"""What the API answers about keeping or replacing, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from scheduling.api.answers import MoneyRangeOut

TERMS = ["worth-now", "repair-bill", "price", "worth-then", "jobs", "risk", "fuel", "other"]


class CostTermOut(Answer):
    term = serializers.ChoiceField(TERMS)
    a_year = MoneyRangeOut(help_text="Its share of the annual cost; the likely figures add up.")
    source = serializers.CharField(help_text="Where it comes from.")  # type: ignore[assignment]  # an answer named so


class CostSideOut(Answer):
    annual_cost = MoneyRangeOut(help_text="Equivalent annual cost.")
    years = serializers.FloatField()
    terms = CostTermOut(many=True)


class RepairJobOut(Answer):
    job = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())


class UnseenPartsOut(Answer):
    parts = serializers.IntegerField()
    of = serializers.IntegerField()
    say = serializers.CharField()


class KeepOrReplaceOut(Answer):
    as_of = serializers.DateField()
    interest_fraction = serializers.FloatField()
    km_per_year = serializers.IntegerField()
    better = serializers.ChoiceField(["keep", "replace", "too-close"], help_text="too-close: the ranges overlap.")
    say = serializers.CharField()
    unseen_parts = UnseenPartsOut(help_text="What the figures of keeping do not rest on.")
    keep = CostSideOut()
    replace = CostSideOut()
    break_even_bill = MoneyRangeOut(
        help_text="The repair bill now at which both cost the same; negative: replacing is cheaper anyway."
    )
    repair_bill = MoneyRangeOut()
    repair_jobs = RepairJobOut(many=True)
    judged_next_year = MoneyOut(
        help_text="The condition's figure for the coming year, with all put right as it is found."
    )
    disclaimer = serializers.CharField()
