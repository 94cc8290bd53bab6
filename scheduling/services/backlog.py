"""The ranked backlog of vehicles and of a fleet: decided over a batch, stored, answered."""

import uuid
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.dates import add_months
from fleetcare.kernel.money import Money, amount_text, minor_digits
from inspections.catalogue.catalogue import Catalogue
from inspections.core.types import IntArray, Residuals
from inspections.services.assessment import Verdicts, is_fresh, judge
from inspections.services.history import Batch, load_batch
from scheduling.core.backlog import Ranking
from scheduling.core.bundles import Bundle, bundles
from scheduling.core.fleet_order import counted_worths
from scheduling.core.reasons import phrase
from scheduling.core.types import Alternative, Backlog, BacklogItem
from scheduling.models import StoredBacklog
from scheduling.selectors import stored_backlog
from scheduling.services.asked_looks import AskedLooks, told_looks
from scheduling.services.backlog_changes import keep_changes
from scheduling.services.options import done_by_reasons
from scheduling.services.ranking import OpenJobs, renewal_credit

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Backlogs:
    """The documents of a batch, one a vehicle, in its order."""

    batch: Batch
    digests: tuple[str, ...]
    documents: tuple[Json, ...]


class Deciding:
    """The decider at work on a batch: told what is left of parts while the judge reckons, so that it is done once."""

    def __init__(self, batch: Batch) -> None:
        self.batch, self.jobs = batch, OpenJobs(batch)
        self.looks = AskedLooks(batch, self.jobs.interval_km, renewal_credit(batch))
        self.wanted = self.jobs.wanted | self.looks.wanted

    def see(self, rows: IntArray, left: Residuals) -> None:
        """See `inspections.services.left.Watcher`."""
        self.jobs.see(rows, left)
        self.looks.see(rows, left)

    def backlogs(self, digests: tuple[str, ...]) -> Backlogs:
        """What is to be done, once everything was seen; `digests` say what the verdicts rest on."""
        batch, ranking, looks = self.batch, self.jobs.ranking(), self.looks.told()
        documents = (_document(batch, index, ranking, looks[index]) for index in range(len(batch.vehicles)))
        return Backlogs(batch, digests, tuple(documents))


def decide(batch: Batch) -> tuple[Verdicts, Backlogs]:
    """Judges every vehicle of a batch and ranks its jobs; pure computing on what was loaded."""
    deciding = Deciding(batch)
    verdicts = judge(batch, deciding)
    return verdicts, deciding.backlogs(verdicts.digests)


def _document(batch: Batch, index: int, ranking: Ranking | None, looks: list[Json]) -> Json:
    vehicle = batch.vehicles[index]
    backlog = ranking.of(index) if ranking else Backlog((), ())
    money = _Money(batch.fleet.currency)
    return {
        "vehicle": str(vehicle.pk),
        "items": [_item(batch, ranking, money, item) for item in backlog.items],
        "can_wait": [_item(batch, ranking, money, item) for item in backlog.can_wait],
        "bundles": [_bundle(ranking, money, each) for each in bundles(ranking, index)] if ranking else [],
        "looks": told_looks(looks, money),
        "total_cost": money(backlog.total_cost_minor),
        "as_of": batch.on.isoformat(),
    }


def _bundle(ranking: Ranking, money: "_Money", bundle: Bundle) -> Json:
    """Jobs that can wait singly and are worth doing together, since they share what has to be taken apart."""
    works = [ranking.options[option].work for option in bundle.options]
    return {
        "jobs": [{"job": work.key, "positions": list(work.positions)} for work in works],
        "shared": list(bundle.shared),
        "saving": money(bundle.saving_minor),
        "cost": money(bundle.cost_minor),
    }


class _Money:
    def __init__(self, currency: str) -> None:
        self.currency, self.digits = currency, minor_digits(currency)

    def __call__(self, minor: int) -> dict[str, str]:
        return {"amount": amount_text(minor, self.digits), "currency": self.currency}


def _item(batch: Batch, ranking: Ranking | None, money: _Money, item: BacklogItem) -> Json:
    catalogue: Catalogue = batch.catalogue
    entry, figures = catalogue.jobs[item.job], batch.prices.of(catalogue, item.job)
    return {
        "rank": item.rank,
        "job": item.job,
        "title": entry.job.title,
        "part": entry.part.key,
        "positions": list(item.positions),
        "grade": None if item.grade is None else item.grade.word,
        "renews": entry.job.renews,
        "cost_now": money(item.cost_now_minor),
        "hours": round(item.hours, 2),
        **_ranges(money, item),
        "closed_jobs": figures.closed_jobs,
        "done_by": figures.done_by,
        "done_by_because": done_by_reasons(figures),
        "cost_of_waiting": money(item.cost_of_waiting_minor),
        "worth_per_cost": round(item.worth_per_cost, 3),
        "failure_chance_fraction": round(item.failure_chance_fraction, 4),
        "failure_cost": money(item.failure_cost_minor),
        "terms": _terms(money, item),
        "do_before": _do_before(batch.on, item),
        "before_driving": item.before_driving,
        "access": list(item.access),
        "follow_ups": list(item.follow_ups),
        "opened_before": list(item.opened_before),
        "licensed": entry.job.licensed,
        "difficulty": entry.job.difficulty,
        "cautions": [catalogue.cautions[key].text for key in entry.job.cautions],
        "reasons": [phrase(reason) for reason in item.reasons],
        "alternatives": [_alternative(batch, ranking, money, each) for each in item.alternatives] if ranking else [],
    }


def _ranges(money: _Money, item: BacklogItem) -> Json:
    """What four such jobs in five cost and take."""
    cost, hours = item.cost_range_minor, item.hours_range
    return {
        "cost_range": {"low": money(cost[0]), "likely": money(item.cost_now_minor), "high": money(cost[1])},
        "hours_range": {"low": round(hours[0], 2), "likely": round(item.hours, 2), "high": round(hours[1], 2)},
    }


def _terms(money: _Money, item: BacklogItem) -> Json:
    """What waiting is expected to cost, term by term."""
    terms = item.terms
    return {
        "failure": money(terms.failure_minor),
        "later_job": money(terms.later_job_minor),
        "dangerous_driving": money(terms.danger_minor),
        "major_driving": money(terms.major_minor),
        "renewal_credit": money(terms.renewal_credit_minor),
        "kept_part": money(terms.kept_part_minor),
        "best_way_to_wait": item.best_wait,
    }


def _alternative(batch: Batch, ranking: Ranking, money: _Money, other: Alternative) -> Json:
    """Another job for the same parts."""
    work = ranking.options[other.option].work
    job = batch.catalogue.jobs[work.key].job
    return {
        "job": work.key,
        "title": job.title,
        "positions": list(work.positions),
        "renews": work.renews,
        "cost_now": money(other.cost_now_minor),
        "worth_per_cost": round(other.worth_per_cost, 3),
    }


def _do_before(on: date, item: BacklogItem) -> str | None:
    """The day up to which waiting costs no more than now; today where none does."""
    return add_months(on, item.do_before_months or 0).isoformat()


DECIDED = ("backlog_cost_minor", "backlog_jobs")
"""What a backlog says in a vehicle's standing."""


def store_backlogs(backlogs: Backlogs) -> None:
    """Stores the documents, a constant number of statements; their sums are set in the standings (`DECIDED`)."""
    batch = backlogs.batch
    rows = [
        StoredBacklog(
            fleet=batch.fleet,
            vehicle=vehicle,
            as_of=batch.on,
            revision=vehicle.standing.revision,
            digest=digest,
            document=document,
            counted_worths=counted_worths(
                (item["before_driving"], item["worth_per_cost"]) for item in document["items"]
            ),
        )
        for vehicle, digest, document in zip(batch.vehicles, backlogs.digests, backlogs.documents, strict=True)
    ]
    StoredBacklog.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["vehicle"],
        update_fields=["as_of", "revision", "digest", "document", "counted_worths"],
    )
    keep_changes(batch, backlogs.documents)
    standings = [vehicle.standing for vehicle in batch.vehicles]
    for standing, document in zip(standings, backlogs.documents, strict=True):
        standing.backlog_cost_minor = _minor(document["total_cost"], batch.fleet.currency)
        standing.backlog_jobs = len(document["items"])


def _minor(money: dict[str, str], currency: str) -> int:
    return Money.of(Decimal(money["amount"]), currency).minor


def current_backlog(access: Access, vehicle: Vehicle) -> Json:
    """The backlog as stored, or computed for this answer where what is stored is older than the last write or today."""
    stored = stored_backlog(access, vehicle)
    if stored is not None and is_fresh(vehicle.standing, stored.revision, stored.as_of, today(access.fleet)):
        document: Json = stored.document
        return document
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    return decide(batch)[1].documents[0]


def vehicle_ids(access: Access) -> list[uuid.UUID]:
    """The vehicles that are kept, for a recomputation of all."""
    rows = Vehicle.objects.within(access.fleet).filter(archived=False)
    return list(rows.values_list("pk", flat=True))
