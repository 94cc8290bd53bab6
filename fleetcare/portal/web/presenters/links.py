"""Private links to a report as a planner sees them."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.translation import gettext

from fleetcare.portal.reports.links import state_of
from fleetcare.portal.web.presenters.figures import Day, Figures

if TYPE_CHECKING:
    from fleetcare.portal.models import SharedLink


@dataclass(frozen=True, slots=True)
class LinkShown:
    """One link: whom it was given to, whether it opens, until when."""

    id: uuid.UUID
    note: str
    opens: bool
    state: str
    made: Day | None
    until: Day | None


def links_shown(figures: Figures, zone: str, rows: "Iterable[SharedLink]", now: datetime) -> list[LinkShown]:
    """Links with their days where the fleet is."""
    return [_link(figures, ZoneInfo(zone), row, state_of(row, now)) for row in rows]


def _link(figures: Figures, zone: ZoneInfo, row: "SharedLink", state: str) -> LinkShown:
    told = {"open": gettext("open"), "expired": gettext("expired"), "revoked": gettext("revoked")}
    return LinkShown(
        id=row.pk,
        note=row.note,
        opens=state == "open",
        state=told[state],
        made=figures.day(row.created_at.astimezone(zone).date()),
        until=figures.day(row.expires_at.astimezone(zone).date()),
    )
