"""Something on every page of a vehicle's record and of the reminders, and the addresses of these pages."""

from datetime import timedelta
from decimal import Decimal

from fleetcare.fleet.clock import today
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from scheduling.services.calendar_links import make_calendar_link
from scheduling.services.due import add_rule, mark_done
from scheduling.services.webhooks import add_endpoint, try_endpoint
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.scheduling.reminders.given import contact
from tests.scheduling.work_given import closed, job, note

START_KM = 90_000


def record_pages(cast: Cast, fleet: str, car: str) -> list[str]:
    """Fills, a reading, rules, know-how, a job done, a contact, a calendar, a webhook."""
    access, vehicle, on = cast.access, cast.vehicle, today(cast.fleet)
    for number in range(4):
        day, km = on - timedelta(days=400 - 20 * number), Decimal(START_KM + 700 * number)
        fill(access, vehicle, filled_on=day, shown_km=km, price_minor=7_000)
    read = record_odometer(access, vehicle, read_on=on - timedelta(days=300), shown_km=Decimal(START_KM + 5_000))
    rule = add_rule(access, vehicle, template="coolant")
    mark_done(access, rule, vehicle, done_on=on - timedelta(days=290), note="with the long-life kind")
    add_rule(access, vehicle, kind="insurance", title="Insurance", ends_on=on + timedelta(days=9))
    known = note(access, vehicle)
    closed(access, job(access, vehicle, "air-filter.replace"), shown_km=Decimal(120_000), parts_minor=1_800)
    driver = contact(cast, vehicle)
    make_calendar_link(access, member=cast.members[Role.OWNER].memberships.get().pk, name="Phone")
    endpoint, _ = add_endpoint(access, url="https://receiver.example/hooks", description="Ledger")
    try_endpoint(access, endpoint)
    return [
        f"{car}rules/", f"{car}rules/{rule.pk}/", f"{car}history/", f"{car}parts/", f"{car}know-how/",
        f"{car}know-how/{known.pk}/", f"{car}road/", f"{car}road/{read.pk}/", f"{car}record/",
        f"{fleet}reminders/", f"{fleet}reminders/log/", f"{fleet}reminders/contacts/{driver.pk}/",
        f"{fleet}webhooks/", f"{fleet}webhooks/{endpoint.pk}/",
    ]  # fmt: skip
