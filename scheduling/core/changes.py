"""What moved in a vehicle's backlog between two days, and why."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

TELLING_COST_SHARE = 0.01
"""A cost that moved less is the same."""
TELLING_WORTH_SHARE = 0.1
"""So is a worth; without this every day would reorder neighbours."""
TELLING_KM = 500.0

CAME, WENT, POSTPONED, ROSE, FELL, COST = "came", "went", "can-wait-now", "rose", "fell", "cost-changed"


@dataclass(frozen=True, slots=True)
class Listed:
    """One job as it stood in a backlog."""

    job: str
    positions: tuple[str, ...]
    place: int
    """From 1 among those worth doing now; 0: it could wait."""
    worth: float
    cost_minor: int
    opened: bool
    """Another job of the list opened some of its access."""


@dataclass(frozen=True, slots=True)
class Found:
    """The last grade of a part with a finding, and the clock at which the part was fitted (None: not known)."""

    grade: int
    fitted_km: float | None


@dataclass(frozen=True, slots=True)
class Standing:
    """A backlog and what it rested on. Places are (part, position)."""

    total_km: float
    prices: str
    lives: str
    """Digests: different where prices or lives are."""
    jobs: Mapping[str, Listed]
    found: Mapping[tuple[str, str], Found]
    fitted_km: Mapping[tuple[str, str], float | None]
    """Of the places that had a finding before, as they are now."""


@dataclass(frozen=True, slots=True)
class Change:
    """One job that moved, with the causes, the most telling first."""

    what: str
    job: str
    positions: tuple[str, ...]
    causes: tuple[str, ...]
    before: Listed | None
    after: Listed | None


def changes(before: Standing, after: Standing) -> tuple[Change, ...]:
    """What moved: jobs that came to be worth doing, that went, that can wait now, that rose, fell, or cost otherwise.

    Jobs that only could wait, before and after, are not told of.
    """
    overtaking = _overtakings(before, after)
    keys = dict.fromkeys((*after.jobs, *before.jobs))
    moved = ((key, _what(before.jobs.get(key), after.jobs.get(key), overtaking.get(key, 0))) for key in keys)
    return tuple(_change(before, after, key, what) for key, what in moved if what)


def _what(old: Listed | None, new: Listed | None, overtaken: int) -> str:
    was, is_now = bool(old and old.place), bool(new and new.place)
    if is_now and not was:
        return CAME
    if was and not is_now:
        return POSTPONED if new else WENT
    if not (old and new and was):
        return ""
    if overtaken:
        return ROSE if overtaken > 0 else FELL
    return COST if _moved(old.cost_minor, new.cost_minor, TELLING_COST_SHARE) else ""


def _moved(old: float, new: float, share: float) -> bool:
    return abs(new - old) > share * max(abs(old), abs(new), 1e-9)


def _overtakings(before: Standing, after: Standing) -> dict[str, int]:
    """By how many places jobs worth doing on both days moved among each other, where their worth moved too."""
    stayed = [key for key, new in after.jobs.items() if new.place and key in before.jobs and before.jobs[key].place]
    old = {key: place for place, key in enumerate(sorted(stayed, key=lambda key: before.jobs[key].place))}
    new = {key: place for place, key in enumerate(sorted(stayed, key=lambda key: after.jobs[key].place))}
    return {
        key: old[key] - new[key]
        for key in stayed
        if _moved(before.jobs[key].worth, after.jobs[key].worth, TELLING_WORTH_SHARE)
    }


def _change(before: Standing, after: Standing, key: str, what: str) -> Change:
    old, new = before.jobs.get(key), after.jobs.get(key)
    either = new or old
    if either is None:
        raise ValueError(f"{key} stands in neither backlog")
    return Change(what, either.job, either.positions, tuple(_causes(before, after, either, old, new)), old, new)


def _causes(before: Standing, after: Standing, job: Listed, old: Listed | None, new: Listed | None) -> Iterator[str]:
    """What happened to its parts, then what it is reckoned with, then the road; time where it was nothing else."""
    part = job.job.partition(".")[0]
    places = [(part, position) for position in job.positions or ("",)]
    of_parts = list(dict.fromkeys(_of_part(before, after, place) for place in places))
    told = [cause for cause in of_parts if cause]
    if before.prices != after.prices:
        told.append("price-changed")
    if before.lives != after.lives:
        told.append("life-changed")
    if old and new and old.opened != new.opened:
        told.append("shared-access")
    if not told and after.total_km - before.total_km >= TELLING_KM:
        told.append("driven")
    yield from told or ["time-passed"]


def _of_part(before: Standing, after: Standing, place: tuple[str, str]) -> str:
    old, new = before.found.get(place), after.found.get(place)
    if old and place in after.fitted_km and after.fitted_km[place] != old.fitted_km:
        return "job-done"
    if new and not old:
        return "finding-opened"
    if old and not new:
        return "finding-closed"
    if old and new and new.grade != old.grade:
        return "finding-worsened" if new.grade > old.grade else "finding-improved"
    return ""
