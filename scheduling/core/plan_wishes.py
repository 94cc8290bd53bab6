"""What somebody wants of single jobs of a plan: do it, not before, not after, only after another, not with another."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from scheduling.core.planner.problem import PlanJob


@dataclass(frozen=True, slots=True)
class Wish:
    """A wish about jobs of a plan (their places); days are counted as the visits' are."""

    jobs: tuple[int, ...]
    must: bool = False
    not_before_day: int | None = None
    not_after_day: int | None = None
    requires: tuple[int, ...] = ()
    """Done in the same visit or before."""
    excludes: tuple[int, ...] = ()
    skills: tuple[str, ...] = ()
    """Taken beside those that the jobs take anyway."""


def wished(jobs: Sequence[PlanJob], wishes: Iterable[Wish]) -> tuple[PlanJob, ...]:
    """The jobs with all wishes in them; of several about one job each counts, the narrower day wins."""
    changed = list(jobs)
    for wish in wishes:
        for place in wish.jobs:
            changed[place] = _wished(changed[place], place, wish)
    return tuple(changed)


def _wished(job: PlanJob, place: int, wish: Wish) -> PlanJob:
    earliest = [day for day in (job.earliest_day, wish.not_before_day) if day is not None]
    latest = [day for day in (job.latest_day, wish.not_after_day) if day is not None]
    return replace(
        job,
        must=job.must or wish.must,
        earliest_day=max(earliest, default=None),
        latest_day=min(latest, default=None),
        requires=_joined(job.requires, wish.requires, place),
        excludes=_joined(job.excludes, wish.excludes, place),
        skills=tuple(dict.fromkeys((*job.skills, *wish.skills))),
    )


def _joined(now: tuple[int, ...], more: tuple[int, ...], place: int) -> tuple[int, ...]:
    return tuple(sorted({*now, *more} - {place}))


def circles(requires: Mapping[int, Iterable[int]]) -> list[tuple[int, ...]]:
    """Each circle of things that require one another, as the way round it from its first; none is listed twice.

    `requires` says of each thing which others it requires.
    """
    found: dict[frozenset[int], tuple[int, ...]] = {}
    for start in sorted(requires):
        way = _way_back(requires, start)
        if way:
            found.setdefault(frozenset(way), way)
    return list(found.values())


def _way_back(requires: Mapping[int, Iterable[int]], start: int) -> tuple[int, ...] | None:
    """The shortest way from `start` back to it, breadth first."""
    ways: list[tuple[int, ...]] = [(start,)]
    reached: set[int] = set()
    for way in ways:
        for following in sorted(requires.get(way[-1], ())):
            if following == start:
                return way
            if following not in reached:
                reached.add(following)
                ways.append((*way, following))
    return None
