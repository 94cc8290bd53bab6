"""Due items and readers for tests of reminders, and a look at the letters that were sent."""

import uuid
from datetime import date, timedelta
from typing import Any

from django.core import mail
from django.core.mail import EmailMultiAlternatives

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, Membership, Vehicle
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.words import Role
from scheduling.models import DueItem, ReminderChoice
from scheduling.services.calendar_links import make_calendar_link
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import send_letters
from scheduling.services.notices import make_notices, welcome_readers
from scheduling.services.webhooks import add_endpoint, try_endpoint
from tests.conftest import Cast

AWAKE = {"quiet_from_hour": 0, "quiet_to_hour": 0, "hour": 0}


def due_item(vehicle: Vehicle, due_on: date | None, *, lead_days: int = 30, **values: Any) -> DueItem:
    """A document that ends on a day, as the due sweep would have made it."""
    given = {
        "kind": "insurance",
        "source": f"rule:{values.get('what', 'Insurance')}",
        "period": str(due_on),
        "what": "Insurance",
        "due_on": due_on,
        "limit_on": due_on,
        "earliest_on": due_on,
        "latest_on": due_on,
        "soon_on": due_on and due_on - timedelta(days=lead_days),
        **values,
    }
    return DueItem.objects.create(fleet_id=vehicle.fleet_id, vehicle=vehicle, **given)


def choice_of(cast: Cast, role: Role = Role.OWNER, **values: Any) -> ReminderChoice:
    """The choice of the member in a role, changed; everybody else in the fleet gets nothing gathered."""
    welcome_readers()
    rows = ReminderChoice.objects.within(cast.fleet)
    mine = rows.filter(membership__user=cast.members[role])
    rows.filter(membership__isnull=False).exclude(pk=mine.get().pk).update(rhythm="never", safety_at_once=False)
    mine.update(**values)
    return mine.get()


def daily(cast: Cast, role: Role = Role.OWNER, **values: Any) -> ReminderChoice:
    """A member who wants a mail whenever there is something, at any hour."""
    return choice_of(cast, role, **{"rhythm": "daily", "last_slot_on": None, **AWAKE, **values})


def contact(cast: Cast, *vehicles: Vehicle, **values: Any) -> Contact:
    """A contact told about vehicles."""
    given = {"name": "Driver", "email": "driver@else.example", **values}
    return save_contact(cast.access, None, vehicles=[vehicle.pk for vehicle in vehicles], **given)


def tell() -> list[EmailMultiAlternatives]:
    """What one round of the workers sends."""
    before = len(mail.outbox)
    make_notices()
    make_letters()
    send_letters()
    return list(mail.outbox[before:])  # type: ignore[arg-type]


def sending_ids(access: Access, member: Membership) -> dict[str, uuid.UUID]:
    """A calendar link of a member, and an endpoint with a delivery."""
    link, _ = make_calendar_link(access, member=member.pk)
    endpoint, _ = add_endpoint(access, url="https://receiver.example/hooks")
    return {"link_id": link.pk, "webhook_id": endpoint.pk, "delivery_id": try_endpoint(access, endpoint).pk}
