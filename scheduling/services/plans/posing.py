"""From what is asked to a problem for the planner: jobs with demands and wishes, visits, and what it rests on."""

import hashlib
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import FleetKind
from fleetcare.kernel.errors import Conflict, Fault, raise_if_any
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.ids import new_id
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import OWN, WORKSHOP, PriceBook
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch, load_batch
from scheduling.core.backlog import Ranking
from scheduling.core.plan_jobs import JobsToPlan, plan_jobs
from scheduling.core.plan_wishes import Wish, circles, wished
from scheduling.core.planner.problem import Person, PlanProblem, Visit
from scheduling.core.types import BoolArray, JobOption
from scheduling.selectors import kept_vehicles
from scheduling.services.plans.asking import JobAsk, JobRef, PlanAsk, VisitAsk, faults_of
from scheduling.services.plans.demands import demands_of, skills_given
from scheduling.services.ranking import ranked

Json = dict[str, Any]
MOST_VEHICLES = 500
NOT_OPEN = "This job is not open: nothing was found at this vehicle that it would put right."


@dataclass(frozen=True, slots=True)
class Posed:
    """A problem, and in plain JSON what it speaks of and rests on."""

    ask: PlanAsk
    problem: PlanProblem
    jobs: list[Json]
    """One a job of the problem: vehicle, job, positions and figures."""
    basis: Json


def posed(access: Access, ask: PlanAsk, *, anew: bool = False) -> Posed:
    """The problem of a plan; a constant number of queries. Raises InvalidInput naming every fault with its place.

    `anew`: asked once before. Then vehicles that are no longer kept and wishes about jobs that are no longer open are
    left behind; raises Conflict where that leaves no vehicle.
    """
    on = today(access.fleet)
    kept = [key for key, _ in kept_vehicles(access, named(ask), MOST_VEHICLES)]
    ask = _still_there(ask, set(kept)) if anew else ask
    raise_if_any(faults_of(ask, on, set(kept), default_catalogue()))
    marker = new_id()
    batch = load_batch(access.fleet, list(dict.fromkeys(ask.vehicles)) or kept[:MOST_VEHICLES], on)
    visits = tuple(_visit(visit) for visit in sorted(ask.visits, key=lambda visit: visit.on))
    ranking = ranked(batch)
    ask = _still_open(ask, batch, ranking) if anew else ask
    if ranking is None:
        raise_if_any(Fault(f"/wishes/{number}/job", "not-open", NOT_OPEN) for number in range(len(ask.wishes)))
    # Where nothing was found there is nothing dangerous either.
    planned, jobs, away = _jobs(batch, ranking, ask) if ranking else (JobsToPlan((), (), ()), [], [])
    basis = {
        **_basis(batch),
        "job_keys": (keys := sorted({told["job"] for told in jobs})),
        "figures": figures_digest(batch.prices, keys),
        "marker": str(marker),
        "all_vehicles": not ask.vehicles,
        "dangers": [{**_place(batch, danger.cell), "jobs": list(danger.jobs)} for danger in planned.dangers],
        "asked_away": away,
    }
    return Posed(ask, PlanProblem(planned.jobs, visits, ask.carry_over, planned.needed), jobs, basis)


def _still_there(ask: PlanAsk, kept: set[uuid.UUID]) -> PlanAsk:
    vehicles = tuple(key for key in ask.vehicles if key in kept)
    if ask.vehicles and not vehicles:
        raise Conflict("None of the vehicles of this plan is kept any more.", code="vehicles-gone")
    visits = tuple(replace(visit, vehicles=tuple(key for key in visit.vehicles if key in kept)) for visit in ask.visits)
    wishes = (_with_refs(wish, lambda ref: ref.vehicle in kept) for wish in ask.wishes if wish.of.vehicle in kept)
    return replace(ask, vehicles=vehicles, visits=visits, wishes=tuple(wishes))


def _still_open(ask: PlanAsk, batch: Batch, ranking: Ranking | None) -> PlanAsk:
    if ranking is None:
        return replace(ask, wishes=())
    matches = _Matches(batch, ranking)
    wishes = (_with_refs(wish, lambda ref: bool(matches.of(ref))) for wish in ask.wishes if matches.of(wish.of))
    return replace(ask, wishes=tuple(wishes))


def _with_refs(wish: JobAsk, holds: Callable[[JobRef], bool]) -> JobAsk:
    requires, excludes = (tuple(ref for ref in refs if holds(ref)) for refs in (wish.requires, wish.excludes))
    return replace(wish, requires=requires, excludes=excludes)


def named(ask: PlanAsk) -> set[uuid.UUID]:
    """Every vehicle that the question names."""
    refs = [ref for wish in ask.wishes for ref in (wish.of, *wish.requires, *wish.excludes)]
    return {*ask.vehicles, *(key for visit in ask.visits for key in visit.vehicles), *(ref.vehicle for ref in refs)}


def _jobs(batch: Batch, ranking: Ranking, ask: PlanAsk) -> tuple[JobsToPlan, list[Json], list[Json]]:
    """The jobs for the planner, what is told of them, and those that are left out because somebody wants it."""
    matches = _Matches(batch, ranking)
    raise_if_any(matches.faults(ask))
    unwanted = {option for wish in ask.wishes if wish.leave_out for option in matches.of(wish.of)}
    works = [ranking.options[option].work for option in matches.open]
    planned = plan_jobs(
        ranking,
        [str(vehicle.pk) for vehicle in batch.vehicles],
        [batch.prices.terms.own_minor_per_hour] * len(batch.vehicles),
        # A workshop's customer pays for hours; at home they are one's own Saturday.
        labour_is_paid=batch.fleet.kind == FleetKind.WORKSHOP,
        dangerous=dangerous_cells(batch),
        demands=demands_of(batch.catalogue, (work.key for work in works), _units(works)),
        wanted=matches.spoken_of(ask.wishes),
        unwanted=unwanted,
    )
    place = {option: index for index, option in enumerate(planned.options)}
    wishes = [_wish(wish, matches, place) for wish in ask.wishes if not wish.leave_out]
    _require_somebody(ask, wishes, planned)
    planned = replace(planned, jobs=wished(planned.jobs, wishes))
    telling = _telling_of(batch, ranking)
    told = [
        {
            **telling(option),
            "cost_minor": job.cash_minor,
            "minutes": job.minutes,
            "worth_minor": job.saving_minor,
        }
        for option, job in zip(planned.options, planned.jobs, strict=True)
    ]
    return planned, told, [telling(option) for option in sorted(unwanted)]


def dangerous_cells(batch: Batch) -> BoolArray:
    """Which fitted parts are dangerous safety parts, shape (K,)."""
    return np.asarray(fleet_costs(batch.prices).safety[batch.cells.slot] & (batch.last_grade == Grade.DANGEROUS))


def _units(works: Iterable[Any]) -> Iterator[str]:
    return (unit.key for work in works for unit in (*work.access, *work.follow_ups))


class _Matches:
    """Which open jobs a wish speaks of."""

    def __init__(self, batch: Batch, ranking: Ranking) -> None:
        self.options: Sequence[JobOption] = ranking.options
        self.row_of = {vehicle.pk: row for row, vehicle in enumerate(batch.vehicles)}
        self.open = sorted(set(ranking.table.option.tolist()))
        self.by_job: dict[tuple[int, str], list[int]] = {}
        for option in self.open:
            chosen = self.options[option]
            self.by_job.setdefault((chosen.vehicle, chosen.work.key), []).append(option)

    def of(self, ref: JobRef) -> tuple[int, ...]:
        """Options; empty where the job is not open, or its vehicle not planned for."""
        found = self.by_job.get((self.row_of.get(ref.vehicle, -1), ref.job), ())
        wanted = set(ref.positions)
        return tuple(option for option in found if wanted <= set(self.options[option].work.positions))

    def all_of(self, refs: Iterable[JobRef]) -> tuple[int, ...]:
        return tuple(dict.fromkeys(option for ref in refs for option in self.of(ref)))

    def spoken_of(self, wishes: Iterable[JobAsk]) -> set[int]:
        """Options that stay in the problem whatever they save, since a wish speaks of them."""
        refs = (ref for wish in wishes for ref in (wish.of, *wish.requires, *wish.excludes))
        return set(self.all_of(refs))

    def faults(self, ask: PlanAsk) -> Iterator[Fault]:
        for index, wish in enumerate(ask.wishes):
            for place, ref in (
                ("", wish.of),
                *((f"/requires/{number}", ref) for number, ref in enumerate(wish.requires)),
                *((f"/excludes/{number}", ref) for number, ref in enumerate(wish.excludes)),
            ):
                if not self.of(ref):
                    yield Fault(f"/wishes/{index}{place}/job", "not-open", NOT_OPEN)
        yield from self._circles(ask)
        yield from self._contradictions(ask)

    def _circles(self, ask: PlanAsk) -> Iterator[Fault]:
        wish_of = {option: index for index, wish in enumerate(ask.wishes) for option in self.of(wish.of)}
        requires = {
            option: [other for other in self.all_of(wish.requires) if other != option]
            for wish in ask.wishes
            for option in self.of(wish.of)
        }
        for way in circles(requires):
            names = " requires ".join(self.options[option].work.key for option in (*way, way[0]))
            yield Fault(f"/wishes/{wish_of[way[0]]}/requires", "circle", f"These wait for each other: {names}.")

    def _contradictions(self, ask: PlanAsk) -> Iterator[Fault]:
        away = {option for wish in ask.wishes if wish.leave_out for option in self.of(wish.of)}
        musts = {option for wish in ask.wishes if wish.must for option in self.of(wish.of)}
        for index, wish in enumerate(ask.wishes):
            if not wish.must:
                continue
            for number, ref in enumerate(wish.requires):
                if set(self.of(ref)) & away:
                    yield Fault(f"/wishes/{index}/requires/{number}", "left-out", "This job is to be left out.")
            for number, ref in enumerate(wish.excludes):
                if set(self.of(ref)) & musts:
                    yield Fault(f"/wishes/{index}/excludes/{number}", "contradicts", "Both jobs are a must.")


def _wish(wish: JobAsk, matches: _Matches, place: dict[int, int]) -> Wish:
    def places(options: Iterable[int]) -> tuple[int, ...]:
        return tuple(place[option] for option in options if option in place)

    return Wish(
        jobs=places(matches.of(wish.of)),
        must=wish.must,
        not_before_day=wish.not_before.toordinal() if wish.not_before else None,
        not_after_day=wish.not_after.toordinal() if wish.not_after else None,
        requires=places(matches.all_of(wish.requires)),
        excludes=places(matches.all_of(wish.excludes)),
        skills=wish.skills,
    )


def _require_somebody(ask: PlanAsk, wishes: Sequence[Wish], planned: JobsToPlan) -> None:
    """Raises InvalidInput where a job is a must and nobody at any visit may do it."""
    crews = [[skills_given(person.skills) for person in visit.people] for visit in ask.visits]
    indices = [index for index, wish in enumerate(ask.wishes) if not wish.leave_out]
    faults = []
    for index, wish in zip(indices, wishes, strict=True):
        taken = [{*planned.jobs[job].skills, *wish.skills} for job in wish.jobs]
        able = all(any(not crew or any(skills <= set(has) for has in crew) for crew in crews) for skills in taken)
        if wish.must and not able:
            skills = ", ".join(sorted(set().union(*taken)))
            sentence = f"Nobody at any visit may do this job; it takes {skills}."
            faults.append(Fault(f"/wishes/{index}/must", "nobody-can", sentence))
    raise_if_any(faults)


def _visit(visit: VisitAsk) -> Visit:
    bays_told = visit.lift_minutes is not None or visit.stands_minutes is not None
    return Visit(
        day=visit.on.toordinal(),
        minutes=visit.minutes,
        money_minor=visit.budget_minor,
        people=tuple(Person(each.name, each.minutes, skills_given(each.skills)) for each in visit.people),
        stands_minutes=(visit.stands_minutes or 0) if bays_told else None,
        lift_minutes=(visit.lift_minutes or 0) if bays_told else None,
        vehicles=tuple(str(key) for key in visit.vehicles),
    )


def _telling_of(batch: Batch, ranking: Ranking) -> Callable[[int], Json]:
    rows = {option: row for row, option in enumerate(ranking.table.option.tolist())}
    return lambda option: _told(batch, ranking, option, rows[option])


def _told(batch: Batch, ranking: Ranking, option: int, row: int) -> Json:
    chosen = ranking.options[option]
    work, entry = chosen.work, batch.catalogue.jobs[chosen.work.key]
    grade = int(ranking.grade[row])
    return {
        "vehicle": str(batch.vehicles[chosen.vehicle].pk),
        "job": work.key,
        "title": entry.job.title,
        "part": entry.part.key,
        "positions": list(work.positions),
        "grade": None if grade < 0 else Grade(grade).word,
        "before_driving": bool(ranking.before_driving[row]),
        "done_by": WORKSHOP if work.given_away else OWN,
    }


def _place(batch: Batch, cell: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[cell])]
    vehicle: Vehicle = batch.vehicles[int(batch.cells.vehicle[cell])]
    part = batch.catalogue.parts[slot.part_key]
    return {
        "vehicle": str(vehicle.pk),
        "vehicle_name": vehicle.name,
        "part": part.key,
        "title": part.title,
        "position": slot.position,
    }


def _basis(batch: Batch) -> Json:
    fleet, book = batch.fleet, batch.book
    return {
        "as_of": batch.on.isoformat(),
        "vehicles": {
            str(vehicle.pk): {
                "revision": vehicle.standing.revision,
                "km": round(float(batch.roads.now_km[row])),
                "km_per_year": round(float(batch.km_per_year[row])),
            }
            for row, vehicle in enumerate(batch.vehicles)
        },
        **prices_of(fleet),
        "catalogue": batch.catalogue.digest,
        "lives": hashlib.sha256(book.life_km.tobytes() + book.life_cv.tobytes()).hexdigest(),
    }


def figures_digest(prices: PriceBook, job_keys: Iterable[str]) -> str:
    """Changes when what any of these jobs takes, or who does it, does."""
    catalogue = default_catalogue()
    figures = [prices.of(catalogue, key) for key in job_keys if key in catalogue.jobs]
    told = [(each.hours.likely, each.parts_minor.likely, each.minor_per_hour, each.done_by) for each in figures]
    return hashlib.sha256(repr(told).encode()).hexdigest()


def prices_of(fleet: Any) -> Json:
    """The fleet's settings that every cost rests on."""
    return {"labour_minor": fleet.labour_per_hour_minor, "price_factor": f"{float(fleet.price_factor):g}"}
