"""Making and revoking the secret addresses of calendars."""

import uuid

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput, NotFound
from fleetcare.support.secret_links import make_token
from scheduling.models import CalendarLink, ReminderChoice
from scheduling.services.choices import (
    Person,
    contact_of,
    member_of,
    own_membership,
    owner_of,
    person_asking,
    require_own_or_planner,
)
from scheduling.services.letters.readers import absolute

MOST_LINKS = 20
"""Living ones of one person: enough for every device, few enough to look through."""


@transaction.atomic
def make_calendar_link(
    access: Access, *, member: uuid.UUID | None = None, contact: uuid.UUID | None = None, name: str = ""
) -> tuple[CalendarLink, str]:
    """A new link and its whole address, which is never to be had again.

    For whoever asks, or (planners) for another member or a contact. Raises InvalidInput for a person not of this
    fleet, Conflict where the person has 20 already.
    """
    person = _person(access, member, contact)
    require_own_or_planner(access, person)
    reader, _ = ReminderChoice.objects.within(access.fleet).get_or_create(
        **owner_of(person), defaults={"fleet": access.fleet, "last_slot_on": timezone.now().date()}
    )
    living = CalendarLink.objects.within(access.fleet).filter(reader=reader, revoked_at=None)
    if living.count() >= MOST_LINKS:
        raise Conflict(f"There are {MOST_LINKS} links already; revoke one that is not used.", code="too-many-links")
    token, digest = make_token()
    link = CalendarLink(fleet=access.fleet, reader=reader, digest=digest, name=name, made_by=access.actor)
    link.save(force_insert=True)
    return link, absolute("calendar", token)


def _person(access: Access, member: uuid.UUID | None, contact: uuid.UUID | None) -> Person:
    if member and contact:
        raise InvalidInput.at("/contact", "twice", "Give a member or a contact, not both.")
    try:
        if member:
            return member_of(access, member)
        if contact:
            return contact_of(access, contact)
    except NotFound as error:
        pointer = "/member" if member else "/contact"
        raise InvalidInput.at(pointer, "unknown", "There is no such person in this fleet.") from error
    return own_membership(access, "/member")


def revoke_calendar_link(access: Access, link: CalendarLink) -> None:
    """From the next request on the address is not found. One's own, or (planners) anybody's. Repeatable."""
    person = link.reader.membership or link.reader.contact
    if person is not None:
        require_own_or_planner(access, person)
    CalendarLink.objects.within(access.fleet).filter(pk=link.pk, revoked_at=None).update(revoked_at=timezone.now())


def sees_all_links(access: Access) -> bool:
    """Whether links of others are shown: planners and owners."""
    return access.role.includes(Role.PLANNER)


def own_links_of(access: Access) -> dict[str, object]:
    """The conditions that leave a reader's own links only."""
    return {"reader__membership__user__in": person_asking(access)}
