"""Endpoints that are told what happens: made, changed, tried out; deliveries looked at and sent again."""

from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Event
from fleetcare.fleet.words import EventKind, Role
from fleetcare.kernel.errors import Conflict, Fault, raise_if_any
from fleetcare.support import outbound
from fleetcare.support.bell import ring_after_commit
from fleetcare.support.versions import store
from scheduling.models import WebhookDelivery, WebhookEndpoint
from scheduling.services.hooks import secret_of
from scheduling.words import QueueState

MOST_ENDPOINTS = 20
_OVER = (QueueState.SENT, QueueState.BOUNCED, QueueState.GIVEN_UP, QueueState.PARKED, QueueState.WITHDRAWN)


def _check(values: dict[str, Any]) -> None:
    faults: list[Fault] = []
    if "url" in values:
        try:
            outbound.checked_parts(values["url"], allow_local=settings.WEBHOOKS_ALLOW_LOCAL)
        except outbound.Refused as refusal:
            faults.append(Fault("/url", "address", str(refusal)))
    faults += _kind_faults(values.get("kinds", ()))
    raise_if_any(faults)


def _kind_faults(kinds: Iterable[str]) -> list[Fault]:
    return [
        Fault(f"/kinds/{index}", "unknown-kind", f"Known kinds: {', '.join(EventKind.values)}.")
        for index, kind in enumerate(kinds)
        if kind not in EventKind.values
    ]


@transaction.atomic
def add_endpoint(access: Access, **values: Any) -> tuple[WebhookEndpoint, str]:
    """A new endpoint and its secret. Owners only. Raises InvalidInput for an address that must not be called."""
    access.require(Role.OWNER)
    _check(values)
    if WebhookEndpoint.objects.within(access.fleet).count() >= MOST_ENDPOINTS:
        raise Conflict(f"There are {MOST_ENDPOINTS} endpoints already.", code="too-many-endpoints")
    endpoint = WebhookEndpoint(fleet=access.fleet, **values)
    endpoint.save(force_insert=True)
    return endpoint, secret_of(endpoint)


@transaction.atomic
def change_endpoint(access: Access, endpoint: WebhookEndpoint, **values: Any) -> WebhookEndpoint:
    """Changes an endpoint; `disabled` switches it off and on again. What waited is sent once it is on. Owners only."""
    access.require(Role.OWNER)
    _check(values)
    if "disabled" in values:
        off = values.pop("disabled")
        values["disabled_at"] = (endpoint.disabled_at or timezone.now()) if off else None
        values["disabled_because"] = (endpoint.disabled_because or "Switched off by an owner.") if off else ""
        values["resume_at"] = None
        ring_after_commit("scheduling.send_hooks")
    for name, value in values.items():
        setattr(endpoint, name, value)
    store(endpoint, values)
    return endpoint


def drop_endpoint(access: Access, endpoint: WebhookEndpoint) -> None:
    """Deletes an endpoint with its log. Owners only."""
    access.require(Role.OWNER)
    endpoint.delete()


@transaction.atomic
def rotate_secret(access: Access, endpoint: WebhookEndpoint) -> str:
    """A new secret; the one before signs beside it for a day, so that a receiver can change over. Owners only."""
    access.require(Role.OWNER)
    endpoint.secret_round, endpoint.rotated_at = endpoint.secret_round + 1, timezone.now()
    store(endpoint, ["secret_round", "rotated_at"])
    return secret_of(endpoint)


@transaction.atomic
def try_endpoint(access: Access, endpoint: WebhookEndpoint) -> WebhookDelivery:
    """Sends a test event to one endpoint, whatever kinds it asked for. Owners only; Conflict where it is off."""
    access.require(Role.OWNER)
    _require_on(endpoint)
    now = timezone.now()
    event = Event.objects.create(
        fleet=access.fleet, kind=EventKind.TEST, subject_id=endpoint.pk, happened_at=now, relayed_at=now
    )
    delivery = WebhookDelivery.objects.create(fleet=access.fleet, endpoint=endpoint, event=event, not_before=now)
    _wake(endpoint)
    ring_after_commit("scheduling.send_hooks")
    return delivery


@transaction.atomic
def replay(access: Access, delivery: WebhookDelivery) -> WebhookDelivery:
    """Sends a delivery that is over once more, with the same id. Owners only; Conflict while it still waits."""
    access.require(Role.OWNER)
    _require_on(delivery.endpoint)
    mine = WebhookDelivery.objects.within(access.fleet).filter(pk=delivery.pk, state__in=_OVER)
    again = {"state": QueueState.WAITING, "not_before": timezone.now(), "ended_at": None}
    if not mine.update(attempts=0, refusals=0, claim=None, claimed_until=None, **again):
        raise Conflict("It is still to be sent.", code="waiting")
    _wake(delivery.endpoint)
    ring_after_commit("scheduling.send_hooks")
    return WebhookDelivery.objects.within(access.fleet).select_related("event", "endpoint").one(pk=delivery.pk)


def _wake(endpoint: WebhookEndpoint) -> None:
    """Somebody waits for the answer: an endpoint that was left alone for a moment is tried at once."""
    WebhookEndpoint.objects.within(endpoint.fleet_id).filter(pk=endpoint.pk).update(resume_at=None)


def _require_on(endpoint: WebhookEndpoint) -> None:
    if endpoint.disabled_at is not None:
        raise Conflict("This endpoint is switched off; switch it on first.", code="disabled")
