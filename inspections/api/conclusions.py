"""What the API answers about fuel use, suspects and learned lives, for the OpenAPI description."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer
from fleetcare.kernel.grades import GRADE_WORDS
from inspections.api.answers import DangerOut, IntervalOut
from inspections.core.trouble_codes import SYSTEMS, Origin
from inspections.words import FactorLesson, Lesson

SIGN_KINDS = ["complaint", "code", "finding", "fuel"]
CODE_ORIGINS = [origin.value for origin in Origin]
CODE_SYSTEMS = list(SYSTEMS.values())


class BurntOut(Answer):
    litres_per_100_km = serializers.FloatField()
    mpg_us = serializers.FloatField(help_text="Miles per US gallon.")
    mpg_imperial = serializers.FloatField(help_text="Miles per imperial gallon.")


class MeanBurntOut(BurntOut):
    distance_km = serializers.FloatField()
    litres = serializers.FloatField()


class FuelIntervalOut(MeanBurntOut):
    from_on = serializers.DateField()
    to_on = serializers.DateField()


class FuelRiseOut(Answer):
    since_on = serializers.DateField()
    rise_fraction = serializers.FloatField(help_text="0.12 is 12 % more than usual.")
    interval = IntervalOut()


class FuelConsumptionOut(Answer):
    intervals = FuelIntervalOut(many=True, help_text="From one full tank to the next, newest first, at most 250.")
    mean = MeanBurntOut(allow_null=True, help_text="All litres over all km; null before the second full tank.")
    usual = BurntOut(allow_null=True, help_text="What is to be expected at this season and kind of trips.")
    recent = BurntOut(allow_null=True, help_text="The same as it was of late, smoothed.")
    rise = FuelRiseOut(allow_null=True, help_text="A lasting rise, if one stands.")


class CatalogueLifeOut(Answer):
    life_km = serializers.FloatField()
    life_years = serializers.FloatField()
    life_cv = serializers.FloatField()
    source = serializers.CharField()  # type: ignore[assignment]  # an answer named so


class RestsOnOut(Answer):
    """Parts of this kind in the fleet's history, by what came of them."""

    failed = serializers.IntegerField()
    worn_out = serializers.IntegerField()
    renewed_early = serializers.IntegerField()
    in_service = serializers.IntegerField(help_text="Seen to serve since they were first seen.")
    reason_unknown = serializers.IntegerField(help_text="Came off, nobody knows why.")
    date_unknown = serializers.IntegerField(help_text="Of all these: fitted nobody knows when.")


class LearnedLifeOut(Answer):
    life_km = serializers.FloatField()
    interval = IntervalOut()
    life_cv = serializers.FloatField()
    factor = serializers.FloatField(help_text="The learned life over the catalogue's.")
    lesson = serializers.ChoiceField(Lesson.choices)
    rests_on = RestsOnOut()


class FleetLifeOut(Answer):
    part = serializers.CharField()
    title = serializers.CharField()
    system = serializers.CharField()
    catalogue = CatalogueLifeOut()
    learned = LearnedLifeOut(allow_null=True)
    used = serializers.BooleanField(help_text="The learned life takes the catalogue's place in this fleet.")
    life_km = serializers.FloatField(help_text="The life that is believed in this fleet.")


class ModelRestsOnOut(Answer):
    vehicles = serializers.IntegerField(help_text="Vehicles of the model with any history.")
    records = serializers.IntegerField(help_text="Fitted parts on them.")
    ended = serializers.IntegerField(help_text="Of these: came to the end of their life, failed or worn out.")


class ModelLivesOut(Answer):
    make = serializers.CharField()
    model = serializers.CharField()
    factor = serializers.FloatField(help_text="Lives on this fleet's vehicles of the model over the fleet's.")
    interval = IntervalOut()
    lesson = serializers.ChoiceField(FactorLesson.choices)
    why = serializers.CharField(help_text="The lesson as a sentence.")
    used = serializers.BooleanField(help_text="The model's vehicles are judged by it.")
    factor_used = serializers.FloatField(help_text="The factor that they are judged by: 1 where it is not used.")
    rests_on = ModelRestsOnOut()


class LivesOut(Answer):
    items = FleetLifeOut(many=True)
    models = ModelLivesOut(many=True, help_text="Models that at least two vehicles of the fleet share.")
    fitted_at = serializers.DateTimeField(allow_null=True)


class CodeOut(Answer):
    code = serializers.CharField()
    meaning = serializers.CharField(help_text="What it means, or what its structure says of it.")
    known = serializers.BooleanField(help_text="The meaning is in the list of generic codes.")
    system = serializers.ChoiceField(CODE_SYSTEMS)
    subsystem = serializers.CharField(allow_null=True)
    origin = serializers.ChoiceField(CODE_ORIGINS)


class CodesOut(Answer):
    digest = serializers.CharField()
    items = CodeOut(many=True)


class ComplaintOut(Answer):
    key = serializers.CharField()
    title = serializers.CharField()


class ComplaintsOut(Answer):
    digest = serializers.CharField()
    items = ComplaintOut(many=True)


class SignOut(Answer):
    sign = serializers.CharField()
    kind = serializers.ChoiceField(SIGN_KINDS)
    title = serializers.CharField()
    asked = serializers.BooleanField(help_text="Told in the question; else found in the records.")


class ReasonOut(SignOut):
    shows_fraction = serializers.FloatField(help_text="How often a bad part of this kind shows the sign.")
    background_fraction = serializers.FloatField(help_text="How often the sign is there though all causes are good.")


class NextCheckOut(Answer):
    check = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    station = serializers.CharField()
    minutes = serializers.FloatField()
    setup_minutes = serializers.FloatField(help_text="Bringing the vehicle into that stance.")
    cautions = serializers.ListField(child=serializers.CharField())


class SuspectOut(Answer):
    rank = serializers.IntegerField()
    part = serializers.CharField()
    title = serializers.CharField()
    position = serializers.CharField(allow_null=True)
    system = serializers.CharField()
    safety = serializers.BooleanField()
    probability_fraction = serializers.FloatField(help_text="Chance that it is bad, knowing the signs.")
    before_signs_fraction = serializers.FloatField(help_text="The same before the signs, by age and looks.")
    last_seen = serializers.ChoiceField(GRADE_WORDS, allow_null=True)
    reasons = ReasonOut(many=True)
    next_check = NextCheckOut(allow_null=True)


class SuspectsOut(Answer):
    suspects = SuspectOut(many=True)
    left_out = serializers.IntegerField(help_text="Suspects too improbable to list.")
    none_of_these_fraction = serializers.FloatField(help_text="Chance that no part that could cause the signs is bad.")
    next_check = NextCheckOut(allow_null=True, help_text="Of all checks the one that tells most a minute.")
    signs = SignOut(many=True)
    signs_unused = SignOut(many=True)
    codes = CodeOut(many=True)
    do_not_drive = serializers.BooleanField()
    dangers = DangerOut(many=True)
    as_of = serializers.DateField()
    disclaimer = serializers.CharField()
