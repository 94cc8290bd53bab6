"""Webhook endpoints and what was sent to them, in words."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext_lazy as _

from fleetcare.fleet.words import EventKind
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.reminders import moment
from scheduling.words import QueueState

if TYPE_CHECKING:
    from scheduling.models import WebhookDelivery, WebhookEndpoint

EVENTS = [
    (EventKind.INSPECTION_COMPLETED.value, _("an inspection was completed")),
    (EventKind.FINDING_OPENED.value, _("a finding was opened")),
    (EventKind.FINDING_WORSENED.value, _("a finding got worse")),
    (EventKind.DO_NOT_DRIVE_RAISED.value, _("a vehicle must not be driven")),
    (EventKind.DO_NOT_DRIVE_LIFTED.value, _("a vehicle may be driven again")),
    (EventKind.JOB_CLOSED.value, _("a job was done")),
    (EventKind.JOB_REOPENED.value, _("a job done was taken back")),
    (EventKind.ESTIMATE_ANSWERED.value, _("an estimate was answered")),
    (EventKind.ITEM_DUE.value, _("something fell due")),
    (EventKind.TEST.value, _("a test")),
]
_STATES: Mapping[str, Any] = {
    QueueState.WAITING: _("waits to be sent"),
    QueueState.SENT: _("taken"),
    QueueState.BOUNCED: _("refused for good"),
    QueueState.GIVEN_UP: _("not taken for days, given up"),
    QueueState.PARKED: _("stuck: somebody should look"),
    QueueState.WITHDRAWN: _("withdrawn"),
}


@dataclass(frozen=True, slots=True)
class EndpointShown:
    """One endpoint."""

    id: uuid.UUID
    url: str
    description: str
    kinds: tuple[str, ...]
    off: bool
    off_because: str


@dataclass(frozen=True, slots=True)
class DeliveryShown:
    """One telling."""

    id: uuid.UUID
    at: str
    kind: str
    state: str
    waiting: bool
    trouble: bool
    answer: str
    next_try: str


def endpoints_shown(rows: "Iterable[WebhookEndpoint]") -> list[EndpointShown]:
    """Endpoints with what they are told of; no kinds: everything."""
    words = dict(EVENTS)
    return [
        EndpointShown(
            row.pk,
            row.url,
            row.description,
            tuple(str(words.get(kind, kind)) for kind in row.kinds),
            row.disabled_at is not None,
            row.disabled_because,
        )
        for row in rows
    ]


def deliveries_shown(figures: Figures, zone: tzinfo, rows: "Iterable[WebhookDelivery]") -> list[DeliveryShown]:
    """What was and will be sent, by the fleet's clock."""
    words = dict(EVENTS)
    return [
        DeliveryShown(
            id=row.pk,
            at=moment(figures, zone, row.ended_at or row.made_at),
            kind=str(words[row.event.kind]),
            state=str(_STATES[row.state]),
            waiting=row.state == QueueState.WAITING,
            trouble=row.state in {QueueState.BOUNCED, QueueState.GIVEN_UP, QueueState.PARKED},
            answer=row.answer,
            next_try=moment(figures, zone, row.not_before) if row.state == QueueState.WAITING else "",
        )
        for row in rows
    ]
