"""Private links to a report: made, listed, taken back, and the way in for whoever holds one."""

from datetime import datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput, NotFound
from fleetcare.portal.models import SharedLink
from fleetcare.portal.words import LinkKind
from fleetcare.support.secret_links import digest_of, make_token
from fleetcare.support.tenancy import TenantQuerySet

LONGEST_DAYS = 365
USUAL_DAYS = 30
MOST_OPEN = 50
"""Links of one vehicle that open at a time."""


def share_report(access: Access, vehicle: Vehicle, *, days: int = USUAL_DAYS, note: str = "") -> tuple[SharedLink, str]:
    """A link that opens the report of a vehicle for so many days, and its secret, which is told only now.

    Planners and owners. Raises InvalidInput for a number of days below 1 or over LONGEST_DAYS, Conflict where
    MOST_OPEN links to the vehicle are open.
    """
    access.require(Role.PLANNER)
    if not 1 <= days <= LONGEST_DAYS:
        raise InvalidInput.at("/days", "range", f"A link opens for 1 to {LONGEST_DAYS} days.")
    now = timezone.now()
    if open_links(access, vehicle, now).count() >= MOST_OPEN:
        raise Conflict(f"{MOST_OPEN} links to this vehicle are open; revoke one first.", code="too-many-links")
    token, digest = make_token()
    link = SharedLink.objects.create(
        fleet=access.fleet,
        vehicle=vehicle,
        kind=LinkKind.REPORT,
        digest=digest,
        note=note.strip(),
        made_by=access.actor,
        expires_at=now + timedelta(days=days),
    )
    return link, token


def links_of(access: Access, vehicle: Vehicle) -> TenantQuerySet[SharedLink]:
    """Every link to a vehicle's report, ended ones too, the latest first."""
    rows = SharedLink.objects.within(access.fleet).filter(vehicle=vehicle)
    return rows.order_by("-created_at", "-id")


def open_links(access: Access, vehicle: Vehicle, now: datetime) -> TenantQuerySet[SharedLink]:
    """Those that open now."""
    return links_of(access, vehicle).filter(revoked_at=None, expires_at__gt=now)


def revoke_link(access: Access, link: SharedLink) -> None:
    """Ends a link at once; repeating it changes nothing. Planners and owners."""
    access.require(Role.PLANNER)
    mine = SharedLink.objects.within(access.fleet).filter(pk=link.pk, revoked_at=None)
    mine.update(revoked_at=timezone.now())


def state_of(link: SharedLink, now: datetime) -> str:
    """ "open", "expired" or "revoked"."""
    if link.revoked_at is not None:
        return "revoked"
    return "open" if link.expires_at > now else "expired"


def path_of(token: str) -> str:
    """Where the link of a secret leads, on this site."""
    return reverse("shared-report", args=[token])


def url_of(request: Any, token: str) -> str:
    """The whole link, to be given to somebody."""
    url: str = request.build_absolute_uri(path_of(token))
    return url


def find_shared_link(token: str) -> tuple[Access, Vehicle]:
    """What the secret of an open link opens: its vehicle, to be read only.

    Raises NotFound alike for a secret that was never given out, has expired or was revoked.
    """
    rows = SharedLink.objects.filter(digest=digest_of(token), revoked_at=None, expires_at__gt=timezone.now())
    link = rows.select_related("fleet", "vehicle__standing").first()
    if link is None:
        raise NotFound
    return Access(link.fleet, Role.VIEWER, f"link:{link.pk}"), link.vehicle
