"""Reading what the decider stored, scoped to the fleet."""

import uuid
from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.db.models import F, Prefetch, Q

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, Event, JobPrice, Membership, Standing, Vehicle
from fleetcare.support.tenancy import TenantQuerySet
from inspections.catalogue.loader import default_catalogue
from scheduling.core.due import State
from scheduling.models import (
    CalendarLink,
    Delivery,
    DueItem,
    Estimate,
    EstimateLine,
    EstimateOption,
    Job,
    JobPart,
    KnowHow,
    Letter,
    ReminderChoice,
    ServiceDone,
    ServiceRule,
    StoredBacklog,
    StoredPlan,
    UnwantedVehicle,
    WebhookDelivery,
    WebhookEndpoint,
)
from scheduling.words import PlanState

KEEP_EVENTS = timedelta(days=90)


def stored_backlog(access: Access, vehicle: Vehicle) -> StoredBacklog | None:
    """The last backlog stored for a vehicle; no query where it was read with the vehicle."""
    if Vehicle.backlog.is_cached(vehicle):
        return getattr(vehicle, "backlog", None)
    return StoredBacklog.objects.within(access.fleet).filter(vehicle=vehicle).first()


class CountedBacklog(NamedTuple):
    """What a fleet's order needs of a vehicle's stored backlog."""

    vehicle_id: uuid.UUID
    worths: list[float | None]
    cost_minor: int


def counted_backlogs(access: Access) -> list[CountedBacklog]:
    """What the jobs of every vehicle that is kept count with in the fleet's order, vehicles by ascending key."""
    rows = StoredBacklog.objects.within(access.fleet).filter(vehicle__archived=False).order_by("vehicle_id")
    columns = ("vehicle_id", "counted_worths", "vehicle__standing__backlog_cost_minor")
    return [CountedBacklog(*row) for row in rows.values_list(*columns)]


def backlogs_of(access: Access, vehicle_ids: Iterable[uuid.UUID]) -> TenantQuerySet[StoredBacklog]:
    """The stored backlogs of some vehicles, with the vehicles."""
    return StoredBacklog.objects.within(access.fleet).filter(vehicle__in=vehicle_ids).select_related("vehicle")


STALE = ~Q(revision=F("assessed_revision")) | Q(assessed_on=None)


def stale_standings(today: object) -> TenantQuerySet[Standing]:
    """Vehicles whose figures are older than what was written, or than today."""
    return Standing.objects.filter(STALE | Q(assessed_on__lt=today))


def moving_due(today: date, zones: Collection[str]) -> TenantQuerySet[DueItem]:
    """The open due items whose state moves by now, of every fleet in these time zones; for the sweep only."""
    return DueItem.objects.filter(fleet__time_zone__in=zones, closed_on=None, next_move_on__lte=today)


def fleets_with_news_of_due() -> list[uuid.UUID]:
    """Fleets with due items that came nearer than was told; for the sweep only."""
    rows = DueItem.objects.filter(closed_on=None, state__gte=State.DUE, state__gt=F("announced_state"))
    return list(rows.order_by("fleet_id").values_list("fleet_id", flat=True).distinct())


def due_items(access: Access, *, open_only: bool = True, **conditions: Any) -> TenantQuerySet[DueItem]:
    """What is due in the fleet, of the vehicles that are kept; the nearest first."""
    rows = DueItem.objects.within(access.fleet).filter(vehicle__archived=False, **conditions)
    return rows.filter(closed_on=None) if open_only else rows


def service_rules(access: Access, vehicle: Vehicle | None = None) -> TenantQuerySet[ServiceRule]:
    """The rules of a vehicle, or those of the whole fleet."""
    return ServiceRule.objects.within(access.fleet).filter(vehicle=vehicle)


def rule_of(access: Access, rule_id: uuid.UUID, vehicle: Vehicle) -> ServiceRule:
    """A rule about a vehicle, its own or the fleet's; raises NotFound."""
    return rules_about(access, vehicle).one(pk=rule_id)


def rules_about(access: Access, vehicle: Vehicle) -> TenantQuerySet[ServiceRule]:
    """A vehicle's own rules, and the fleet's, of which some may not fit it."""
    return ServiceRule.objects.within(access.fleet).filter(Q(vehicle=vehicle) | Q(vehicle=None))


def done_on_vehicle(access: Access, vehicle: Vehicle) -> TenantQuerySet[ServiceDone]:
    """When the work of any rule was done on a vehicle, the latest last."""
    return ServiceDone.objects.within(access.fleet).filter(vehicle=vehicle).order_by("done_on", "created_at")


def service_record(access: Access, rule: ServiceRule, vehicle: Vehicle) -> TenantQuerySet[ServiceDone]:
    """When a rule's work was done on a vehicle, the latest first."""
    return ServiceDone.objects.within(access.fleet).filter(rule=rule, vehicle=vehicle)


def letters(access: Access) -> TenantQuerySet[Letter]:
    """Mails of the fleet with whom they are for and what they tell."""
    told = Prefetch("deliveries", Delivery.objects.within(access.fleet).select_related("item", "event").order_by("pk"))
    rows = Letter.objects.within(access.fleet).select_related("reader__membership__user", "reader__contact")
    return rows.prefetch_related(told)


def unwanted_vehicles(access: Access, choice: ReminderChoice) -> list[uuid.UUID]:
    """The vehicles that a reader does not want to be reminded of; none of a choice that was never stored."""
    rows = UnwantedVehicle.objects.within(access.fleet).filter(reader_id=choice.pk).order_by("vehicle_id")
    return list(rows.values_list("vehicle_id", flat=True))


def calendar_links(access: Access) -> TenantQuerySet[CalendarLink]:
    """Addresses of calendars, revoked ones too, with their readers."""
    rows = CalendarLink.objects.within(access.fleet)
    return rows.select_related("reader__membership", "reader__contact")


def webhook_endpoints(access: Access) -> TenantQuerySet[WebhookEndpoint]:
    """Endpoints that are told what happens, also those that are off."""
    return WebhookEndpoint.objects.within(access.fleet)


def webhook_deliveries(endpoint: WebhookEndpoint) -> TenantQuerySet[WebhookDelivery]:
    """What was and will be told to one endpoint."""
    rows = WebhookDelivery.objects.within(endpoint.fleet_id).filter(endpoint=endpoint)
    return rows.select_related("event", "endpoint")


def fleets_with_waiting_events() -> list[uuid.UUID]:
    """Fleets in which something happened that was not passed on yet."""
    rows = Event.objects.filter(relayed_at=None).order_by()
    return list(rows.values_list("fleet_id", flat=True).distinct()[:1_000])


def old_events(now: datetime) -> TenantQuerySet[Event]:
    """Events of every fleet that were passed on long ago; for the worker that forgets them."""
    return Event.objects.filter(relayed_at__lt=now - KEEP_EVENTS)


def members_never_asked() -> TenantQuerySet[Membership]:
    """Members of every fleet who have no choice of reminders yet."""
    return Membership.objects.filter(reminder_choice=None)


def contacts_never_asked() -> TenantQuerySet[Contact]:
    """Contacts of every fleet who have no choice of reminders yet."""
    return Contact.objects.filter(reminder_choice=None)


def untold_deliveries() -> TenantQuerySet[Delivery]:
    """What waits for a letter, in every fleet."""
    return Delivery.objects.filter(letter=None)


def every_letter() -> TenantQuerySet[Letter]:
    """Letters of every fleet, with whom they are for; for the worker that sends them."""
    people = ("fleet", "reader__fleet", "reader__membership__user", "reader__contact")
    return Letter.objects.select_related(*people).order_by("not_before", "id")


def letters_of_batch(batch: uuid.UUID) -> TenantQuerySet[Letter]:
    """The letters that one run of the maker made, in any fleet."""
    return Letter.objects.filter(batch=batch)


def readers_of(ids: list[uuid.UUID]) -> TenantQuerySet[ReminderChoice]:
    """Readers of any fleet with the people they are; for the workers."""
    people = ("fleet", "membership__user", "contact")
    return ReminderChoice.objects.filter(pk__in=ids).select_related(*people).order_by("pk")


def calendar_link(digest: str) -> CalendarLink | None:
    """The link with this digest that was not revoked, with fleet and reader: a door from outside any fleet."""
    people = ("fleet", "reader__fleet", "reader__membership__user", "reader__contact")
    return CalendarLink.objects.select_related(*people).filter(digest=digest, revoked_at=None).first()


def every_hook() -> TenantQuerySet[WebhookDelivery]:
    """Webhook deliveries of every fleet with endpoint and event; for the worker that sends them."""
    return WebhookDelivery.objects.select_related("endpoint", "event").order_by("not_before", "id")


def vehicle_due(vehicle: Vehicle, *, open_only: bool = True, **conditions: Any) -> TenantQuerySet[DueItem]:
    """What is due on one vehicle, kept or not."""
    rows = DueItem.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, **conditions)
    return rows.filter(closed_on=None) if open_only else rows


def jobs(vehicle: Vehicle) -> TenantQuerySet[Job]:
    """Jobs of a vehicle with the odometer reading of their closing and their lines."""
    rows = Job.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    return rows.select_related("reading").prefetch_related(_lines_of(vehicle.fleet_id))


def job_of(vehicle: Vehicle, job_id: uuid.UUID) -> Job:
    """One job with its vehicle; raises NotFound."""
    job = jobs(vehicle).one(pk=job_id)
    job.vehicle = vehicle
    return job


def has_job(vehicle: Vehicle, job_id: uuid.UUID) -> bool:
    """Whether a job is one of this vehicle's."""
    return Job.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, pk=job_id).exists()


def fleet_jobs(access: Access) -> TenantQuerySet[Job]:
    """Jobs of every vehicle that is kept, with vehicle, reading and lines."""
    rows = Job.objects.within(access.fleet).filter(vehicle__archived=False)
    return rows.select_related("vehicle", "reading").prefetch_related(_lines_of(access.fleet))


def _lines_of(fleet: Any) -> "Prefetch[Any]":
    return Prefetch("parts", JobPart.objects.within(fleet).order_by("line"))


def know_how(access: Access, model_keys: Iterable[str], part_key: str = "") -> TenantQuerySet[KnowHow]:
    """What is known in the fleet about models of vehicle, of one part with its jobs and checks where one is named."""
    rows = KnowHow.objects.within(access.fleet).filter(model_key__in=set(model_keys))
    if not part_key:
        return rows
    below = f"{part_key}."
    of_part = Q(part_key=part_key) | Q(job_key__startswith=below) | Q(check_key__startswith=below)
    return rows.filter(of_part)


def estimates(access: Access) -> TenantQuerySet[Estimate]:
    """Estimates with vehicle, contact, lines and options, in the order of the paper: safety first."""
    fleet = access.fleet
    options = Prefetch("options", EstimateOption.objects.within(fleet).order_by("option"))
    in_order = EstimateLine.objects.within(fleet).order_by("-before_driving", "-safety", "line")
    lines = Prefetch("lines", in_order.prefetch_related(options))
    return Estimate.objects.within(fleet).select_related("vehicle", "contact").prefetch_related(lines)


def estimate_by_digest(digest: str) -> Estimate | None:
    """The estimate that a private link leads to, whosever it is; None where there is none."""
    return Estimate.objects.filter(token_digest=digest).select_related("fleet").first()


def kept_vehicles(access: Access, named: Collection[uuid.UUID], most: int) -> list[tuple[uuid.UUID, int]]:
    """Vehicles that are kept, with their revisions: the first `most` by name, and those named wherever they stand."""
    rows = Vehicle.objects.within(access.fleet).filter(archived=False).order_by("name", "id")
    first = list(rows.values_list("pk", "standing__revision")[:most])
    missing = set(named) - {key for key, _ in first}
    return [*first, *rows.filter(pk__in=missing).values_list("pk", "standing__revision")]


def stored_plans(access: Access) -> TenantQuerySet[StoredPlan]:
    """Plans of the fleet, without what only their solver reads."""
    return StoredPlan.objects.within(access.fleet).defer("problem", "causes")


def plans_listed(access: Access) -> TenantQuerySet[StoredPlan]:
    """Plans of the fleet with what a list tells of them."""
    return stored_plans(access).select_related("fleet").defer("document", "jobs", "changes")


def plans_to_solve(now: datetime) -> TenantQuerySet[StoredPlan]:
    """Plans of every fleet that nobody works on and that can still be improved; for the sweep only."""
    rows = StoredPlan.objects.filter(state=PlanState.IMPROVING).order_by("created_at")
    return rows.filter(Q(claimed_until=None) | Q(claimed_until__lt=now))


def own_prices(access: Access) -> TenantQuerySet[JobPrice]:
    """What the fleet says of jobs that the catalogue has."""
    return JobPrice.objects.within(access.fleet).filter(job_key__in=list(default_catalogue().jobs))
