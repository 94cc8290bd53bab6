"""What the API answers about estimates, for the OpenAPI description."""

from rest_framework import serializers

from fleetcare.fleet.api.answers import Answer as AnswerBase
from fleetcare.fleet.api.answers import MoneyOut
from scheduling.words import EXPIRED, Answer, EstimateState

ESTIMATE_STATES = [*EstimateState.values, EXPIRED]


class PriceOut(AnswerBase):
    net = MoneyOut()
    tax = MoneyOut()
    gross = MoneyOut()


class EstimateOptionOut(AnswerBase):
    id = serializers.UUIDField()
    title = serializers.CharField()
    job_id = serializers.UUIDField(allow_null=True)
    job = serializers.CharField(allow_null=True)
    positions = serializers.ListField(child=serializers.CharField())
    hours = serializers.FloatField(allow_null=True)
    parts = MoneyOut()
    labour = MoneyOut()
    price = PriceOut()


class EstimateLineOut(AnswerBase):
    id = serializers.UUIDField()
    title = serializers.CharField()
    explanation = serializers.CharField(allow_blank=True)
    safety = serializers.BooleanField()
    before_driving = serializers.BooleanField()
    options = EstimateOptionOut(many=True)
    answer = serializers.ChoiceField(Answer.choices, allow_null=True)
    chosen = serializers.UUIDField(allow_null=True)
    answered_by = serializers.CharField(allow_blank=True)
    answered_at = serializers.DateTimeField(allow_null=True)
    reason = serializers.CharField(allow_blank=True)


class EstimateOut(AnswerBase):
    id = serializers.UUIDField()
    number = serializers.IntegerField()
    vehicle = serializers.UUIDField()
    vehicle_name = serializers.CharField()
    contact = serializers.UUIDField(allow_null=True)
    customer = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    tax_percent = serializers.FloatField(allow_null=True)
    state = serializers.ChoiceField(ESTIMATE_STATES)
    sent_at = serializers.DateTimeField(allow_null=True)
    expires_at = serializers.DateTimeField(allow_null=True)
    answered_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()
    lines = EstimateLineOut(many=True, help_text="Before driving first, then other safety work.")
    offered = PriceOut(help_text="With the first option of each line.")
    accepted = PriceOut()


class SentEstimateOut(EstimateOut):
    link = serializers.URLField(help_text="Shown this once; only its digest is stored.")
