"""What the API takes about reminders, calendars and webhooks."""

from typing import Any

from rest_framework import serializers

from fleetcare.support.strict import StrictSerializer
from scheduling.words import DueKind, Rhythm

_HOUR: Any = {"min_value": 0, "max_value": 23, "required": False}
_DAYS: Any = {"min_value": 0, "max_value": 366, "required": False, "allow_null": True}
_LANGUAGE = r"^([A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*)?$"


class ReminderChoiceIn(StrictSerializer):
    rhythm = serializers.ChoiceField(Rhythm.values, required=False)
    safety_at_once = serializers.BooleanField(required=False)
    unwanted_kinds = serializers.ListField(
        child=serializers.ChoiceField(DueKind.choices), required=False, max_length=len(DueKind)
    )
    weekday = serializers.IntegerField(min_value=0, max_value=6, required=False)
    month_day = serializers.IntegerField(min_value=1, max_value=31, required=False)
    hour = serializers.IntegerField(**_HOUR)
    quiet_from_hour = serializers.IntegerField(**_HOUR)
    quiet_to_hour = serializers.IntegerField(**_HOUR)
    first_lead_days = serializers.IntegerField(**_DAYS)
    second_lead_days = serializers.IntegerField(**_DAYS)
    unwanted_vehicles = serializers.ListField(child=serializers.UUIDField(), required=False, max_length=500)
    language = serializers.RegexField(_LANGUAGE, max_length=12, required=False, allow_blank=True)
    time_zone = serializers.CharField(max_length=64, required=False, allow_blank=True)

    def validate_unwanted_kinds(self, kinds: list[str]) -> str:
        """As it is stored: each between commas."""
        return "".join(f",{kind}" for kind in dict.fromkeys(kinds)) + "," if kinds else ""


class CalendarLinkNew(StrictSerializer):
    name = serializers.CharField(max_length=80, required=False, allow_blank=True)
    member = serializers.UUIDField(required=False)
    contact = serializers.UUIDField(required=False)


class WebhookIn(StrictSerializer):
    url = serializers.CharField(max_length=500)
    kinds = serializers.ListField(child=serializers.CharField(max_length=40), required=False, max_length=50)
    description = serializers.CharField(max_length=120, required=False, allow_blank=True)
    disabled = serializers.BooleanField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs["kinds"] = list(dict.fromkeys(attrs["kinds"])) if "kinds" in attrs else attrs.pop("kinds", None)
        return {name: value for name, value in attrs.items() if value is not None}
