"""Passing on what happened: a delivery for each endpoint that asked for it, and for each reader whom it concerns."""

import uuid
from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.models import Event, Fleet
from fleetcare.fleet.words import EventKind
from fleetcare.support.bell import ring_after_commit
from scheduling.models import WebhookDelivery, WebhookEndpoint
from scheduling.selectors import fleets_with_waiting_events
from scheduling.services.notices import tell_of_bans

_CHUNK = 500


def relay_waiting() -> int:
    """Relays what lost bells left, in every fleet; returns how many events were passed on."""
    return sum(relay_events(fleet_id) for fleet_id in fleets_with_waiting_events())


def relay_events(fleet_id: uuid.UUID) -> int:
    """Passes on the waiting events of one fleet; returns how many. Any number may run at once: keys make it once."""
    fleet = Fleet.objects.filter(pk=fleet_id).first()
    passed = 0
    while fleet is not None:
        waiting = Event.objects.within(fleet).filter(relayed_at=None).order_by("happened_at", "id")
        events = list(waiting[:_CHUNK])
        passed += len(events)
        if not events:
            break
        _relay(fleet, events)
    return passed


@transaction.atomic
def _relay(fleet: Fleet, events: Sequence[Event]) -> None:
    now = timezone.now()
    endpoints = WebhookEndpoint.objects.within(fleet).filter(disabled_at=None)
    rows = [
        WebhookDelivery(fleet=fleet, endpoint=endpoint, event=event, not_before=now)
        for endpoint in endpoints
        for event in events
        if not endpoint.kinds or event.kind in endpoint.kinds
    ]
    if rows:
        WebhookDelivery.objects.bulk_create(rows, ignore_conflicts=True)
        ring_after_commit("scheduling.send_hooks")
    tell_of_bans(fleet, [event for event in events if event.kind == EventKind.DO_NOT_DRIVE_RAISED])
    Event.objects.within(fleet).filter(pk__in=[event.pk for event in events]).update(relayed_at=now)
