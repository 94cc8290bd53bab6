"""A fleet with one of everything, by the names that addresses call it."""

import uuid

from django.utils import timezone

from fleetcare.fleet.models import Membership
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.services.invitations import invite
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from fleetcare.portal.reports.links import share_report
from scheduling.services.due import add_rule
from scheduling.services.plans import PlanAsk, VisitAsk, make_plan
from scheduling.services.prices import job_price, set_price
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.exchange.given import exchange_ids
from tests.inspections.given import inspect
from tests.inspections.photos.pictures import photo
from tests.scheduling.given import due_item
from tests.scheduling.reminders.given import sending_ids
from tests.scheduling.work_given import PADS_JOB, estimate, job, note


def ids_of(cast: Cast) -> dict[str, uuid.UUID]:
    """Makes one of everything."""
    inspection = inspect(cast.access, cast.vehicle, grade="major")
    contact = save_contact(cast.access, None, vehicles=[cast.vehicle.pk], name="Driver", email="driver@x.example")
    key, _ = create_key(cast.access, name="listed", role=Role.VIEWER)
    viewer = Membership.objects.within(cast.fleet).get(user=cast.members[Role.VIEWER])
    return {
        "fleet_id": cast.fleet.pk,
        "vehicle_id": cast.vehicle.pk,
        "member_id": viewer.pk,
        "key_id": key.pk,
        "invitation_id": invite(cast.access, email="invited@x.example", role=Role.VIEWER).pk,
        "contact_id": contact.pk,
        "reading_id": inspection.reading_id,
        "inspection_id": inspection.pk,
        "finding_id": cast.vehicle.findings.get().pk,
        **exchange_ids(cast.access),
        "report_link_id": share_report(cast.access, cast.vehicle)[0].pk,
        "photo_id": photo(cast.access, cast.vehicle, inspection=inspection).pk,
        "rule_id": add_rule(cast.access, None, template="brake-fluid").pk,
        "vehicle_rule_id": add_rule(cast.access, cast.vehicle, template="engine-oil").pk,
        "due_id": due_item(cast.vehicle).pk,
        **sending_ids(cast.access, viewer),
        "fill_id": fill(cast.access, cast.vehicle)[0].pk,
        "plan_id": make_plan(cast.access, PlanAsk((), (VisitAsk(timezone.now().date(), 60, 1_000),))).pk,
        "job_id": job(cast.access, cast.vehicle).pk,
        "know_how_id": note(cast.access, cast.vehicle).pk,
        "estimate_id": estimate(cast.access, cast.vehicle).pk,
        "price_id": set_price(cast.access, job_price(cast.access, PADS_JOB), note="ours").pk,
    }
