"""Telling endpoints what happened, as Standard Webhooks asks: signed, repeated with growing pauses, stopped by 410."""

import base64
import hashlib
import hmac
import uuid
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import orjson
from django.conf import settings
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.crypto import salted_hmac

from fleetcare.fleet.models import Event
from fleetcare.support import outbound
from scheduling.models import WebhookDelivery, WebhookEndpoint
from scheduling.selectors import every_hook
from scheduling.services.lanes import Work, work_lanes
from scheduling.services.queue import Outcome, ended, free, later, park, pause_after, run_until, sent
from scheduling.words import QueueState

_MINUTE, _HOUR = timedelta(minutes=1), timedelta(hours=1)
PAUSES = (
    _MINUTE, 5 * _MINUTE, 30 * _MINUTE, 2 * _HOUR, 5 * _HOUR, 10 * _HOUR, 14 * _HOUR, 20 * _HOUR, 24 * _HOUR,
)  # fmt: skip
"""Between the attempts: ten in a little over three days."""
OLD_SECRET_COUNTS = timedelta(hours=24)
"""How long a replaced secret still signs beside the new one."""
CALL_LASTS_AT_MOST = timedelta(seconds=outbound.RESOLVE_SECONDS + outbound.SECONDS + 1.0)
_SALT = "fleetcare.webhook"
_GONE = 410


def send_hooks() -> int:
    """Sends what is free, to several endpoints at once, until it is all done or half a minute has gone.

    Does nothing while another run is sending: that one finds new rows by itself, and a receiver that does not answer
    must not hold one worker after the other. Returns how many came to an outcome.
    """
    if _under_way(timezone.now()).exists():
        return 0
    return work_lanes(Work(_ready_outside, lambda row: row.endpoint_id, _call, _conclude), until=run_until())


def waiting_hooks(now: datetime) -> bool:
    """Whether anything could be sent."""
    return _ready(now).exists()


def park_hooks() -> int:
    """Parks deliveries whose every attempt ended in silence."""
    return park(every_hook())


def _ready(now: datetime) -> QuerySet[WebhookDelivery]:
    answering = Q(endpoint__resume_at=None) | Q(endpoint__resume_at__lte=now)
    return every_hook().filter(free(now), answering, endpoint__disabled_at=None)


def _ready_outside(now: datetime, endpoint_ids: Collection[uuid.UUID]) -> QuerySet[WebhookDelivery]:
    called = _under_way(now).values("endpoint_id")
    return _ready(now).exclude(endpoint_id__in=endpoint_ids).exclude(endpoint_id__in=called)


def _under_way(now: datetime) -> QuerySet[WebhookDelivery]:
    """Rows that some run has claimed so lately that it must still be calling, unless it died."""
    lease_ends_after = max(now, now + timedelta(seconds=settings.DELIVERY_LEASE_SECONDS) - CALL_LASTS_AT_MOST)
    return every_hook().filter(state=QueueState.WAITING, claimed_until__gt=lease_ends_after)


def _call(row: WebhookDelivery) -> Callable[[], outbound.Reply | outbound.Refused | outbound.Unreachable]:
    """What a thread does: it has everything that it needs and asks the database for nothing."""
    url, body, allow_local = row.endpoint.url, event_body(row.event), settings.WEBHOOKS_ALLOW_LOCAL
    headers = signed_headers(row.endpoint, row.event, body, timezone.now())

    def post() -> outbound.Reply | outbound.Refused | outbound.Unreachable:
        try:
            return outbound.post(url, body, headers, allow_local=allow_local)
        except (outbound.Refused, outbound.Unreachable) as error:
            return error

    return post


def _conclude(row: WebhookDelivery, reply: outbound.Reply | outbound.Refused | outbound.Unreachable) -> Outcome:
    endpoint = row.endpoint
    if isinstance(reply, outbound.Refused):
        return _again(row, str(reply), None)
    if isinstance(reply, outbound.Unreachable):
        _rest(endpoint)
        return replace(_again(row, str(reply), None), stop=True)
    if 200 <= reply.status < 300:
        return sent(f"HTTP {reply.status}", status=reply.status)
    if reply.status == _GONE:
        _disable(endpoint, "It answered 410 Gone.")
        return replace(ended(QueueState.BOUNCED, "HTTP 410: it wants no more", status=reply.status), stop=True)
    return _again(row, f"HTTP {reply.status}", reply.status)


def _again(row: WebhookDelivery, answer: str, status: int | None) -> Outcome:
    pause = pause_after(row.refusals + 1, PAUSES)
    if pause is None:
        return ended(QueueState.GIVEN_UP, answer, status=status)
    return later(timezone.now() + pause, answer, status=status)


def _rest(endpoint: WebhookEndpoint) -> None:
    """Leaves an endpoint that does not answer alone for a minute, so that it does not hold up the others."""
    rows = WebhookEndpoint.objects.within(endpoint.fleet_id).filter(pk=endpoint.pk)
    rows.update(resume_at=timezone.now() + _MINUTE)


def _disable(endpoint: WebhookEndpoint, because: str) -> None:
    rows = WebhookEndpoint.objects.within(endpoint.fleet_id).filter(pk=endpoint.pk, disabled_at=None)
    rows.update(disabled_at=timezone.now(), disabled_because=because)


def event_body(event: Event) -> bytes:
    """The body told about an event, the same bytes at every attempt."""
    data: dict[str, Any] = {"fleet": event.fleet_id, "vehicle": event.vehicle_id, "subject": event.subject_id}
    document = {"type": event.kind, "timestamp": event.happened_at, "data": {**data, **event.facts}}
    return orjson.dumps(document, option=orjson.OPT_UTC_Z)


def message_id(event: Event) -> str:
    """The same for every attempt and every endpoint: what a receiver recognises repeats by."""
    return f"evt_{event.pk.hex}"


def signed_headers(endpoint: WebhookEndpoint, event: Event, body: bytes, now: datetime) -> dict[str, str]:
    """The headers of Standard Webhooks: id, timestamp, and a signature for each secret that counts."""
    identity, seconds = message_id(event), str(int(now.timestamp()))
    content = b".".join([identity.encode(), seconds.encode(), body])
    signatures = [hmac.new(key, content, hashlib.sha256).digest() for key in _signing_keys(endpoint, now)]
    return {
        "content-type": "application/json",
        "user-agent": "fleetcare",
        "webhook-id": identity,
        "webhook-timestamp": seconds,
        "webhook-signature": " ".join(f"v1,{base64.b64encode(each).decode()}" for each in signatures),
    }


def secret_of(endpoint: WebhookEndpoint) -> str:
    """The endpoint's secret as its receiver keeps it."""
    return "whsec_" + base64.b64encode(_key(endpoint, endpoint.secret_round, settings.SECRET_KEY)).decode()


def _key(endpoint: WebhookEndpoint, secret_round: int, installation_key: str) -> bytes:
    value = f"{endpoint.pk.hex}:{secret_round}"
    return salted_hmac(_SALT, value, installation_key, algorithm="sha256").digest()


def _signing_keys(endpoint: WebhookEndpoint, now: datetime) -> list[bytes]:
    """The current secret, for a day the one before, and what both are under the installation's older keys."""
    rounds = [endpoint.secret_round]
    if endpoint.rotated_at is not None and now - endpoint.rotated_at < OLD_SECRET_COUNTS:
        rounds.append(endpoint.secret_round - 1)
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return [_key(endpoint, each, key) for each in rounds for key in keys]
