"""What moved between a plan and the one made in its place, and because of what.

A plan is compared job by job. The causes come from outside as facts (a finding worsened, so many kilometres were
driven, the budget was raised); here they are told apart: what explains a job's cost, what its worth, what its place.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

Key = tuple[str, str, tuple[str, ...]]
"""Vehicle, job and positions."""
Place = tuple[str, str, str]
"""Vehicle, part and position."""
Kind = Literal["came-in", "went-out", "moved", "cost-changed", "worth-changed"]

TELLING_SHARE = 0.1
"""A change of a job's worth below this share of it is no news: worth creeps with every day."""
GONE = "not-in-backlog"


@dataclass(frozen=True, slots=True)
class Considered:
    """A job as a plan saw it."""

    vehicle: str
    job: str
    positions: tuple[str, ...]
    part: str
    cost_minor: int
    worth_minor: int
    """What it saves if done at the first visit, without what it shares with other jobs."""
    visit: str | None
    """The date of its visit; None where it was left out."""
    why: str = ""
    """The code of why it was left out."""

    @property
    def key(self) -> Key:
        """What it is told apart by."""
        return self.vehicle, self.job, self.positions

    @property
    def places(self) -> tuple[Place, ...]:
        """The fitted parts it puts right."""
        return tuple((self.vehicle, self.part, position) for position in self.positions or ("",))


@dataclass(frozen=True, slots=True)
class Cause:
    """A stable code with the facts it needs."""

    code: str
    facts: dict[str, str] = field(default_factory=dict)
    on: str | None = None
    """The day it happened, where it has one."""


@dataclass(frozen=True, slots=True)
class Causes:
    """Everything that happened since the earlier plan was made; plain tuples, so that it can be stored as JSON."""

    of_parts: tuple[tuple[Place, Cause], ...] = ()
    """What was found or done at single parts."""
    of_prices: tuple[Cause, ...] = ()
    """Explain costs (and by them worth)."""
    of_vehicles: tuple[tuple[str, Cause], ...] = ()
    """Explain worth: distance driven, its pace, days passed."""
    of_lives: tuple[Cause, ...] = ()
    """Explain worth for all: lives learned anew, a new catalogue."""
    of_visits: tuple[Cause, ...] = ()
    """Explain places: money, hours, people, dates and wishes that are no longer the same."""
    earlier_proved: bool = True
    """Whether the earlier plan was shown to be the best of its day."""


@dataclass(frozen=True, slots=True)
class Change:
    """What moved of one job; `before` and `after` are empty where that plan did not see the job at all."""

    kind: Kind
    job: Considered
    """As it was seen last."""
    before: Considered | None
    after: Considered | None
    because: tuple[Cause, ...]


def changes(before: Iterable[Considered], after: Iterable[Considered], causes: Causes) -> tuple[Change, ...]:
    """What moved, each with at least one cause: first what went out and came in, then moves, costs and worth."""
    earlier, later = ({each.key: each for each in jobs} for jobs in (before, after))
    trios = [(job, earlier.get(key), later.get(key)) for key, job in {**earlier, **later}.items()]
    told = [(kind, *trio) for trio in trios if (kind := _kind(*trio[1:])) is not None]
    others = _at_parts([job for kind, job, _, _ in told if kind in ("came-in", "went-out")], causes)
    found = [Change(kind, job, old, new, _because(kind, job, old, new, causes, others)) for kind, job, old, new in told]
    return tuple(sorted(found, key=lambda change: (_ORDER.index(change.kind), change.job.key)))


_ORDER: tuple[Kind, ...] = ("went-out", "came-in", "moved", "cost-changed", "worth-changed")


def _kind(old: Considered | None, new: Considered | None) -> Kind | None:
    if old is None or old.visit is None:
        return "came-in" if new is not None and new.visit is not None else None
    if new is None or new.visit is None:
        return "went-out"
    if old.visit != new.visit:
        return "moved"
    if old.cost_minor != new.cost_minor:
        return "cost-changed"
    return "worth-changed" if _worth_moved(old, new) else None


def _worth_moved(old: Considered, new: Considered) -> bool:
    return abs(new.worth_minor - old.worth_minor) > TELLING_SHARE * max(abs(old.worth_minor), 1)


def _at_parts(jobs: Iterable[Considered], causes: Causes) -> dict[Key, str]:
    """Jobs that came or went by something that happened at their own parts: they push the others about."""
    return {job.key: job.job for job in jobs if _of_parts(job, causes)}


def _of_parts(job: Considered, causes: Causes) -> list[Cause]:
    places = set(job.places)
    return [cause for place, cause in causes.of_parts if place in places]


def _because(
    kind: Kind,
    job: Considered,
    old: Considered | None,
    new: Considered | None,
    causes: Causes,
    others: Mapping[Key, str],
) -> tuple[Cause, ...]:
    at_its_parts = _of_parts(job, causes)
    found = [*at_its_parts]
    dearer = old is not None and new is not None and old.cost_minor != new.cost_minor
    if old is None or new is None or dearer:
        found += causes.of_prices
    if dearer and not found:
        found.append(Cause("estimate-changed"))
    if not found and (old is None or new is None or _worth_moved(old, new)):
        found += [*(cause for vehicle, cause in causes.of_vehicles if vehicle == job.vehicle), *causes.of_lives]
    if kind in ("came-in", "went-out", "moved"):
        found += causes.of_visits
        pushing = [name for key, name in others.items() if key != job.key]
        if pushing and not at_its_parts:
            found.append(Cause("others-moved", {"jobs": ", ".join(dict.fromkeys(pushing))}))
    return tuple(found) or (Cause("planned-anew" if causes.earlier_proved else "searched-further"),)


def phrase(cause: Cause) -> str:
    """The cause as one English sentence without a full stop; raises KeyError for an unknown code."""
    return _PHRASES[cause.code](cause.facts)


def _finding(words: str) -> Callable[[Mapping[str, str]], str]:
    return lambda facts: f"{facts['part']}{_at(facts)} {words.format(**facts)}{_why(facts)}"


def _at(facts: Mapping[str, str]) -> str:
    position = facts.get("position", "")
    return f", {position.replace('-', ' ')}," if position else ""


def _why(facts: Mapping[str, str]) -> str:
    return f": {facts['because']}" if facts.get("because") else ""


_PHRASES: dict[str, Callable[[Mapping[str, str]], str]] = {
    "finding-opened": _finding("was found {grade}"),
    "finding-worsened": _finding("is now {grade}"),
    "finding-improved": _finding("was seen better, {grade}"),
    "finding-closed": _finding("was seen sound"),
    "finding-dismissed": _finding("was no defect after all"),
    "job-done": _finding("was put right"),
    "km-driven": lambda facts: f"driven about {facts['km']} km since",
    "use-changed": lambda facts: f"reckoned to drive {facts['after']} km a year instead of {facts['before']}",
    "written-since": lambda facts: "something else was written about the vehicle since",
    "days-passed": lambda facts: f"{facts['days']} days passed",
    "prices-changed": lambda facts: f"{facts['what']} changed from {facts['before']} to {facts['after']}",
    "estimate-changed": lambda facts: "what the job is expected to cost changed",
    "lives-changed": lambda facts: "how long parts last was learned anew from this fleet",
    "catalogue-changed": lambda facts: "the catalogue of parts and jobs is a new one",
    "budget-changed": lambda facts: f"money for {facts['visit']}: {facts['after']} instead of {facts['before']}",
    "hours-changed": lambda facts: f"hours on {facts['visit']}: {facts['after']} instead of {facts['before']}",
    "visit-added": lambda facts: f"a visit on {facts['visit']} was added",
    "visit-dropped": lambda facts: f"the visit on {facts['visit']} is no more",
    "visit-changed": lambda facts: f"people, bays or vehicles of the visit on {facts['visit']} changed",
    "wishes-changed": lambda facts: "the wishes about single jobs changed",
    "vehicles-changed": lambda facts: "other vehicles are planned for",
    "others-moved": lambda facts: f"other jobs came or went: {facts['jobs']}",
    "searched-further": lambda facts: "the plan before was not yet shown to be the best",
    "planned-anew": lambda facts: "as good as before, planned anew",
}

CODES = tuple(_PHRASES)
