"""What the API answers about reminders, calendars and webhooks; the tests hold the answers to it."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer
from fleetcare.fleet.words import EventKind
from scheduling.words import DueKind, LetterKind, QueueState, Rhythm, Stage

STAGE_WORDS = [stage.label for stage in Stage]
QUEUE_STATES = QueueState.values
EVENT_KINDS = EventKind.values
LETTER_KINDS = LetterKind.values


class ReminderChoiceOut(Answer):
    rhythm = serializers.ChoiceField(Rhythm.values)
    safety_at_once = serializers.BooleanField()
    unwanted_kinds = serializers.ListField(child=serializers.ChoiceField(DueKind.choices))
    unwanted_vehicles = serializers.ListField(
        child=serializers.UUIDField(), help_text="Of a member: not reminded of these; a ban on driving is told anyway."
    )
    weekday = serializers.IntegerField(help_text="Of a weekly mail; 0 is Monday.")
    month_day = serializers.IntegerField()
    hour = serializers.IntegerField()
    quiet_from_hour = serializers.IntegerField()
    quiet_to_hour = serializers.IntegerField()
    first_lead_days = serializers.IntegerField(allow_null=True)
    second_lead_days = serializers.IntegerField(allow_null=True)
    language = serializers.CharField(allow_blank=True)
    time_zone = serializers.CharField(allow_blank=True)
    address_refused = serializers.BooleanField(help_text="The address refused mails for good; nothing is sent to it.")


class ReaderOut(Answer):
    name = serializers.CharField(allow_blank=True)
    email = serializers.EmailField(allow_null=True, help_text="For planners and owners only.")
    is_member = serializers.BooleanField()


class ToldOut(Answer):
    vehicle = serializers.UUIDField(allow_null=True)
    due_item = serializers.UUIDField(allow_null=True)
    what = serializers.CharField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    stage = serializers.ChoiceField(STAGE_WORDS)


class ReminderOut(Answer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(LETTER_KINDS)
    reader = ReaderOut()
    state = serializers.ChoiceField(QUEUE_STATES)
    subject = serializers.CharField(allow_blank=True)
    made_at = serializers.DateTimeField()
    not_before = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    refusals = serializers.IntegerField()
    answer = serializers.CharField(allow_blank=True, help_text="What the mail server said last.")
    told = ToldOut(many=True)


class CalendarLinkOut(Answer):
    id = serializers.UUIDField()
    name = serializers.CharField(allow_blank=True)
    member = serializers.UUIDField(allow_null=True)
    contact = serializers.UUIDField(allow_null=True)
    created_at = serializers.DateTimeField()
    last_read_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)


class NewCalendarLinkOut(CalendarLinkOut):
    url = serializers.CharField(help_text="The whole address; it is shown this once only.")


class WebhookOut(Answer):
    id = serializers.UUIDField()
    url = serializers.CharField()
    kinds = serializers.ListField(child=serializers.ChoiceField(EVENT_KINDS), help_text="Empty: all.")
    description = serializers.CharField(allow_blank=True)
    disabled = serializers.BooleanField()
    disabled_at = serializers.DateTimeField(allow_null=True)
    disabled_because = serializers.CharField(allow_blank=True)
    created_at = serializers.DateTimeField()


class NewWebhookOut(WebhookOut):
    secret = serializers.CharField(help_text="Signs what is sent (Standard Webhooks); shown this once only.")


class WebhookSecretOut(Answer):
    secret = serializers.CharField(help_text="The one before signs beside it for a day.")


class WebhookDeliveryOut(Answer):
    id = serializers.UUIDField()
    event = serializers.CharField(help_text="The webhook-id header, the same at every attempt.")
    kind = serializers.ChoiceField(EVENT_KINDS)
    state = serializers.ChoiceField(QUEUE_STATES)
    status = serializers.IntegerField(allow_null=True)
    answer = serializers.CharField(allow_blank=True)
    refusals = serializers.IntegerField()
    made_at = serializers.DateTimeField()
    not_before = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
