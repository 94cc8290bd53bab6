"""What the API answers about jobs and kit lists, for the OpenAPI description."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer, MoneyOut
from inspections.words import Removal
from scheduling.core.job_states import JobState, Step
from scheduling.words import JobOrigin, NoteKind

JOB_STATES = [state.value for state in JobState]
JOB_STEPS = [step.value for step in Step]


class JobPartOut(Answer):
    description = serializers.CharField()
    part_number = serializers.CharField(allow_blank=True)
    quantity = serializers.FloatField()
    price = MoneyOut(help_text="Of one.")
    warranty_until = serializers.DateField(allow_null=True)
    warranty_km = serializers.IntegerField(allow_null=True)
    position = serializers.CharField(allow_null=True)
    fitted_part = serializers.UUIDField(allow_null=True)


class JobOut(Answer):
    id = serializers.UUIDField()
    vehicle = serializers.UUIDField()
    job = serializers.CharField(allow_null=True)
    title = serializers.CharField()
    part = serializers.CharField(allow_null=True)
    positions = serializers.ListField(child=serializers.CharField())
    origin = serializers.ChoiceField(JobOrigin.choices)
    state = serializers.ChoiceField(JOB_STATES)
    steps = serializers.ListField(child=serializers.ChoiceField(JOB_STEPS), help_text="What may be done with it now.")
    safety = serializers.BooleanField()
    before_driving = serializers.BooleanField()
    planned_on = serializers.DateField(allow_null=True)
    assigned_to = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)
    deferred_until = serializers.DateField(allow_null=True)
    decided_by = serializers.CharField(allow_blank=True)
    decided_at = serializers.DateTimeField(allow_null=True)
    done_on = serializers.DateField(allow_null=True)
    odometer_km = serializers.FloatField(allow_null=True)
    hours = serializers.FloatField(allow_null=True)
    labour = MoneyOut(allow_null=True)
    parts_cost = MoneyOut(allow_null=True)
    other = MoneyOut(allow_null=True)
    total = MoneyOut(allow_null=True)
    removal = serializers.ChoiceField(Removal.choices, allow_null=True)
    parts = JobPartOut(many=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()


class FleetJobOut(JobOut):
    vehicle_name = serializers.CharField()


class NoteOut(Answer):
    know_how = serializers.UUIDField()
    kind = serializers.ChoiceField(NoteKind.choices)
    text = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    author = serializers.CharField(allow_blank=True)


class KitCautionOut(Answer):
    caution = serializers.CharField()
    text = serializers.CharField()


class KitJobRefOut(Answer):
    job = serializers.UUIDField()
    title = serializers.CharField()


class KitJobOut(KitJobRefOut):
    positions = serializers.ListField(child=serializers.CharField())
    state = serializers.ChoiceField(JOB_STATES)
    hours = serializers.FloatField(allow_null=True)
    difficulty = serializers.IntegerField(allow_null=True)
    licensed = serializers.BooleanField()
    before_driving = serializers.BooleanField()
    cautions = serializers.ListField(child=serializers.CharField())
    note = serializers.CharField(allow_blank=True)
    torque = NoteOut(many=True, help_text="From the maker's data as somebody entered it.")
    torque_hint = serializers.CharField(allow_blank=True)
    know_how = NoteOut(many=True)


class KitAccessOut(Answer):
    unit = serializers.CharField()
    title = serializers.CharField()


class KitFollowUpOut(Answer):
    follow_up = serializers.CharField()
    title = serializers.CharField()
    after_km = serializers.IntegerField()


class KitVehicleOut(Answer):
    vehicle = serializers.UUIDField()
    vehicle_name = serializers.CharField()
    jobs = KitJobOut(many=True)
    access = KitAccessOut(many=True)
    follow_ups = KitFollowUpOut(many=True)
    hours = serializers.FloatField(help_text="Of work, with what is taken apart and what follows counted once.")


class KitThingOut(Answer):
    what = serializers.CharField()
    jobs = serializers.ListField(child=serializers.UUIDField())


class PriceRangeOut(Answer):
    low = MoneyOut()
    likely = MoneyOut()
    high = MoneyOut()


class KitPartOut(Answer):
    job = serializers.UUIDField()
    vehicle = serializers.UUIDField()
    part = serializers.CharField()
    title = serializers.CharField()
    positions = serializers.ListField(child=serializers.CharField())
    renewed = serializers.BooleanField(help_text="false: material for a repair.")
    price = PriceRangeOut()


class KitOut(Answer):
    cautions = KitCautionOut(many=True)
    licensed = KitJobRefOut(many=True)
    vehicles = KitVehicleOut(many=True)
    tools = KitThingOut(many=True)
    consumables = KitThingOut(many=True)
    parts = KitPartOut(many=True)
    hours = serializers.FloatField()
    disclaimer = serializers.CharField()
