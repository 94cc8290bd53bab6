"""What moved between a plan and the one made in its place: causes gathered from the records, told in words."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any
from uuid import UUID

import msgspec

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money
from inspections.catalogue.loader import default_catalogue
from inspections.models import FindingChange
from inspections.words import ChangeKind
from scheduling.core.plan_changes import Cause, Causes, Change, Considered, Place, changes, phrase
from scheduling.models import StoredPlan
from scheduling.services.plans.asking import PlanAsk, VisitAsk

Json = dict[str, Any]
_CODES = {
    ChangeKind.OPENED: "finding-opened",
    ChangeKind.WORSENED: "finding-worsened",
    ChangeKind.IMPROVED: "finding-improved",
    ChangeKind.CLOSED: "finding-closed",
    ChangeKind.DISMISSED: "finding-dismissed",
}
LEAST_PACE_FRACTION = 0.02
LEAST_KM = 50
"""Less driven than this is not told: the odometer of today is a forecast."""


def causes_since(plan: StoredPlan, ask: PlanAsk, basis: Json) -> Causes:
    """What happened since a plan was made, against what a new one rests on; one query."""
    before, after = plan.basis, basis
    return Causes(
        of_parts=tuple(_found_since(plan, after["vehicles"])),
        of_prices=tuple(_prices(plan, before, after)),
        of_vehicles=tuple(_driven(before, after)),
        of_lives=tuple(_learned(before, after)),
        of_visits=tuple(_visits(PlanAsk.of_json(plan.asked), ask, plan.fleet.currency)),
        earlier_proved=plan.status == "optimal",
    )


def _found_since(plan: StoredPlan, vehicles: Iterable[str]) -> Iterator[tuple[Place, Cause]]:
    """Steps in the history of findings written after the plan's inputs were read (their ids are ordered by time)."""
    rows = FindingChange.objects.within(plan.fleet_id).filter(
        finding__vehicle__in=[UUID(key) for key in vehicles], id__gt=UUID(plan.basis["marker"]), kind__in=list(_CODES)
    )
    parts = default_catalogue().parts
    for row in rows.select_related("finding").order_by("id"):
        finding = row.finding
        # A part renewed or a job done closes a finding without anybody having looked.
        done = row.kind == ChangeKind.CLOSED and row.inspection_id is None
        part = parts.get(finding.part_key)
        facts = {
            "part": part.title if part else finding.part_key,
            "position": finding.position,
            "grade": Grade(row.grade).word,
            "because": row.because,
        }
        code = "job-done" if done else _CODES[ChangeKind(row.kind)]
        place = (str(finding.vehicle_id), finding.part_key, finding.position)
        yield place, Cause(code, facts, row.happened_on.isoformat())


def _prices(plan: StoredPlan, before: Json, after: Json) -> Iterator[Cause]:
    def money(minor: int) -> str:
        return _words(minor, plan.fleet.currency)

    for key, what, told in (("labour_minor", "an hour of work", money), ("price_factor", "the price level", str)):
        if before[key] != after[key]:
            facts = {"what": what, "before": told(before[key]), "after": told(after[key])}
            yield Cause("prices-changed", facts)


def _driven(before: Json, after: Json) -> Iterator[tuple[str, Cause]]:
    days = (date.fromisoformat(after["as_of"]) - date.fromisoformat(before["as_of"])).days
    for key, now in after["vehicles"].items():
        then = before["vehicles"].get(key, now)
        driven, pace = now["km"] - then["km"], now["km_per_year"] / max(then["km_per_year"], 1)
        if driven >= LEAST_KM:
            yield key, Cause("km-driven", {"km": f"{driven:,}"})
        elif days > 0:
            yield key, Cause("days-passed", {"days": str(days)})
        if abs(pace - 1.0) >= LEAST_PACE_FRACTION:
            facts = {"before": f"{then['km_per_year']:,}", "after": f"{now['km_per_year']:,}"}
            yield key, Cause("use-changed", facts)
        elif driven < LEAST_KM and not days and now["revision"] != then["revision"]:
            yield key, Cause("written-since")


def _learned(before: Json, after: Json) -> Iterator[Cause]:
    if before["lives"] != after["lives"] and before["catalogue"] == after["catalogue"]:
        yield Cause("lives-changed")
    if before["catalogue"] != after["catalogue"]:
        yield Cause("catalogue-changed")


def _visits(before: PlanAsk, after: PlanAsk, currency: str) -> Iterator[Cause]:
    old, new = _by_day(before.visits), _by_day(after.visits)
    for day in sorted({*old, *new}):
        told = day.isoformat()
        if day not in new:
            yield Cause("visit-dropped", {"visit": told})
        elif day not in old:
            yield Cause("visit-added", {"visit": told})
        else:
            yield from _one_day(told, old[day], new[day], currency)
    if before.wishes != after.wishes or before.carry_over != after.carry_over:
        yield Cause("wishes-changed")
    if before.vehicles != after.vehicles:
        yield Cause("vehicles-changed")


def _one_day(told: str, old: list[VisitAsk], new: list[VisitAsk], currency: str) -> Iterator[Cause]:
    money = [sum(visit.budget_minor for visit in visits) for visits in (old, new)]
    minutes = [sum(visit.minutes for visit in visits) for visits in (old, new)]
    if money[0] != money[1]:
        facts = {"visit": told, "before": _words(money[0], currency), "after": _words(money[1], currency)}
        yield Cause("budget-changed", facts)
    if minutes[0] != minutes[1]:
        yield Cause("hours-changed", {"visit": told, "before": _hours(minutes[0]), "after": _hours(minutes[1])})
    if [_staff(visit) for visit in old] != [_staff(visit) for visit in new]:
        yield Cause("visit-changed", {"visit": told})


def _staff(visit: VisitAsk) -> tuple[Any, ...]:
    return visit.people, visit.stands_minutes, visit.lift_minutes, visit.vehicles


def _by_day(visits: Iterable[VisitAsk]) -> dict[date, list[VisitAsk]]:
    days: dict[date, list[VisitAsk]] = {}
    for visit in visits:
        days.setdefault(visit.on, []).append(visit)
    return days


def _hours(minutes: int) -> str:
    return f"{minutes / 60:g} h"


def _words(minor: int, currency: str) -> str:
    money = Money(minor, currency).as_json()
    return f"{money['amount']} {money['currency']}"


def considered(jobs: Iterable[Json], document: Json) -> list[Considered]:
    """The jobs of a plan with where each went."""
    visits = {_key(job): visit["date"] for visit in document["visits"] for job in visit["jobs"]}
    why = {_key(left): left["code"] for left in document["left_out"]}
    return [
        Considered(
            vehicle=job["vehicle"],
            job=job["job"],
            positions=tuple(job["positions"]),
            part=job["part"],
            cost_minor=job["cost_minor"],
            worth_minor=job["worth_minor"],
            visit=visits.get(_key(job)),
            why=why.get(_key(job), ""),
        )
        for job in jobs
    ]


def _key(job: Mapping[str, Any]) -> tuple[Any, ...]:
    return job["vehicle"], job["job"], tuple(job["positions"])


def changes_of(row: StoredPlan) -> list[Json] | None:
    """What moved against the plan that `row` replaces; as it was where that one is gone, None where there was none."""
    if row.causes is None or row.replaces is None:
        stored: list[Json] | None = row.changes
        return stored
    earlier = row.replaces
    causes = msgspec.convert(row.causes, Causes)
    found = changes(considered(earlier.jobs, earlier.document), considered(row.jobs, row.document), causes)
    return [_told(change, row.fleet.currency) for change in found]


def _told(change: Change, currency: str) -> Json:
    def money(seen: Considered | None, name: str) -> Json | None:
        return None if seen is None else Money(getattr(seen, name), currency).as_json()

    job, old, new = change.job, change.before, change.after
    entry = default_catalogue().jobs.get(job.job)
    return {
        "kind": change.kind,
        "vehicle": job.vehicle,
        "job": job.job,
        "title": entry.job.title if entry else job.job,
        "positions": list(job.positions),
        "visit": {"before": old.visit if old else None, "after": new.visit if new else None},
        "cost": {"before": money(old, "cost_minor"), "after": money(new, "cost_minor")},
        "worth": {"before": money(old, "worth_minor"), "after": money(new, "worth_minor")},
        "left_out": _why(change),
        "because": [{"code": cause.code, "say": phrase(cause), "on": cause.on} for cause in change.because],
    }


def _why(change: Change) -> str | None:
    """For a job that went out: the code of why it is left out now, or that it is no longer in the backlog."""
    if change.kind != "went-out":
        return None
    return change.after.why if change.after is not None else "not-in-backlog"
