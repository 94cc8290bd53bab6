"""What the API answers about what is due and the rules behind it, for the OpenAPI description."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer
from scheduling.core.due import State
from scheduling.words import Closed, DueKind, RuleKind

DUE_STATES = [state.word for state in State]


class DueItemOut(Answer):
    id = serializers.UUIDField()
    vehicle = serializers.UUIDField()
    vehicle_name = serializers.CharField()
    kind = serializers.ChoiceField(DueKind.choices)
    what = serializers.CharField()
    part = serializers.CharField(allow_null=True)
    position = serializers.CharField(allow_null=True)
    safety = serializers.BooleanField()
    due_on = serializers.DateField(allow_null=True, help_text="The earlier of the date and the expected day of the km.")
    due_odometer_km = serializers.FloatField(allow_null=True)
    earliest_on = serializers.DateField(allow_null=True)
    latest_on = serializers.DateField(allow_null=True)
    state = serializers.ChoiceField(DUE_STATES)
    source = serializers.CharField()  # type: ignore[assignment]
    snoozed_until = serializers.DateField(allow_null=True)
    closed_on = serializers.DateField(allow_null=True)
    closed_because = serializers.ChoiceField(Closed.choices, allow_null=True)


class ServiceTemplateOut(Answer):
    key = serializers.CharField()
    title = serializers.CharField()
    part = serializers.CharField(allow_null=True)
    every_km = serializers.IntegerField(allow_null=True)
    every_months = serializers.IntegerField(allow_null=True)
    needs = serializers.ListField(child=serializers.CharField())
    source = serializers.CharField()  # type: ignore[assignment]


class ServiceTemplatesOut(Answer):
    items = ServiceTemplateOut(many=True)


class ServiceRuleOut(Answer):
    id = serializers.UUIDField()
    vehicle = serializers.UUIDField(allow_null=True, help_text="null: every vehicle of the fleet that it fits.")
    kind = serializers.ChoiceField(RuleKind.choices)
    template = serializers.CharField(allow_null=True)
    title = serializers.CharField()
    part = serializers.CharField(allow_null=True)
    every_km = serializers.IntegerField(allow_null=True)
    every_months = serializers.IntegerField(allow_null=True)
    ends_on = serializers.DateField(allow_null=True)
    ends_odometer_km = serializers.FloatField(allow_null=True)
    needs = serializers.ListField(child=serializers.CharField())
    make = serializers.CharField(allow_blank=True)
    model = serializers.CharField(allow_blank=True)
    lead_days = serializers.IntegerField()
    safety = serializers.BooleanField()
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    note = serializers.CharField(allow_blank=True)
    active = serializers.BooleanField()


class ServiceDoneOut(Answer):
    id = serializers.UUIDField()
    rule = serializers.UUIDField()
    done_on = serializers.DateField()
    total_km = serializers.FloatField(allow_null=True)
    job = serializers.UUIDField(allow_null=True)
    note = serializers.CharField(allow_blank=True)
