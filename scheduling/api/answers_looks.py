"""What the API answers about looks to come, for the OpenAPI description; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer
from fleetcare.kernel.grades import GRADE_WORDS

LOOK_REASONS = ["own-use", "not-more-often", "at-least-so-often", "short-warning"]


class LookPlaceOut(Answer):
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    safety = serializers.BooleanField()


class LookReasonOut(Answer):
    code = serializers.ChoiceField(LOOK_REASONS)
    say = serializers.CharField()


class LookAtPartOut(LookPlaceOut):
    grade = serializers.ChoiceField(GRADE_WORDS, allow_null=True, help_text="What the last look saw.")
    interval_months = serializers.FloatField()
    next_on = serializers.DateField()
    now = serializers.BooleanField(help_text="Its time has come, or has passed.")
    because = LookReasonOut()
    never_looked = serializers.BooleanField()
    warning_too_short = serializers.BooleanField(
        help_text="It fails so soon after its first sign that monthly looks cannot be sure to catch it."
    )


class SingleCheckOut(Answer):
    check = serializers.CharField()
    position = serializers.CharField(allow_null=True)


class ChecksAloneOut(Answer):
    """The checks of these parts alone, where they take less than half of the sheet's time."""

    minutes = serializers.IntegerField()
    checks = SingleCheckOut(many=True)


class GatheredLookOut(Answer):
    on = serializers.DateField()
    cautions = serializers.ListField(child=serializers.CharField(), help_text="To be shown before it.")
    sheet = serializers.CharField(help_text="The quickest sheet that looks at all of these parts.")
    title = serializers.CharField()
    minutes = serializers.IntegerField()
    parts = LookPlaceOut(many=True)
    checks_alone = ChecksAloneOut(allow_null=True)


class LooksToComeOut(Answer):
    as_of = serializers.DateField()
    km_per_year = serializers.IntegerField()
    looks = GatheredLookOut(many=True)
    parts = LookAtPartOut(many=True)
    nothing_to_see = LookPlaceOut(many=True, help_text="Parts that show no sign before they fail.")
