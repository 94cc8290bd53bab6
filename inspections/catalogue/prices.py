"""What a fleet pays for each job of the catalogue, and who does it: the fleet's own figures over the catalogue's.

Sums are minor units of the fleet's currency. What the fleet says itself comes before what the catalogue says; jobs
that it closed sharpen both (see `inspections.core.job_costs`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from inspections.catalogue.catalogue import Catalogue, PartJob
from inspections.core.job_costs import Range, sharpened, usual_hours

OWN, WORKSHOP = "own", "workshop"
NO_STANDS, STANDS, LIFT = "none", "stands", "lift"
_RAISED = "stands"
"""The caution of work at a raised vehicle."""


@dataclass(frozen=True, slots=True)
class Terms:
    """Who can do what here, and what an hour costs."""

    own_minor_per_hour: float
    workshop_minor_per_hour: float
    gives_away: bool = False
    """Everything goes to a workshop, also what could be done here."""
    hardest_own: int = 5
    licensed_here: bool = False
    raising: str = LIFT
    tools: frozenset[str] | None = None
    """Those there; None where nobody has listed them, and all but `tools_lacking` count as there."""
    tools_lacking: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class OwnFigures:
    """What a fleet says of a job; what it leaves open, the catalogue says."""

    parts_minor: Range | None = None
    hours: float | None = None
    done_by: str = ""
    """OWN or WORKSHOP where the fleet chose; what cannot be done here goes to a workshop all the same."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What the jobs closed lately took, one figure a job, without shared access."""

    hours: tuple[float, ...] = ()
    parts_minor: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class JobFigures:
    """What a job is expected to take, and who does it."""

    hours: Range
    parts_minor: Range
    minor_per_hour: float
    done_by: str
    why: tuple[str, ...] = ()
    """Codes; of a job given away, each thing that stands in the way of doing it here."""
    missing_tools: tuple[str, ...] = ()
    closed_jobs: int = 0
    """On how many it rests."""

    @property
    def given_away(self) -> bool:
        """Whether a workshop does it."""
        return self.done_by == WORKSHOP


@dataclass(frozen=True, eq=False)
class PriceBook:
    """The prices of one fleet. Two with the same `key` are the same book; computed figures are kept by it."""

    key: str
    minor_per_euro: float
    terms: Terms
    own: Mapping[str, OwnFigures] = field(default_factory=dict)
    taken: Mapping[str, Taken] = field(default_factory=dict)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PriceBook) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)

    @classmethod
    def plain(cls, labour_minor_per_hour: float, minor_per_euro: float) -> "PriceBook":
        """The catalogue's figures at one rate for everybody, nothing given away."""
        terms = Terms(labour_minor_per_hour, labour_minor_per_hour, licensed_here=True)
        return cls(f"plain {labour_minor_per_hour!r} {minor_per_euro!r}", minor_per_euro, terms)

    @cached_property
    def _figures(self) -> dict[str, JobFigures]:
        return {}

    def of(self, catalogue: Catalogue, job_key: str) -> JobFigures:
        """The figures of a job for one unit of its scope."""
        found = self._figures.get(job_key)
        if found is None:
            found = self._figures[job_key] = self._reckoned(catalogue, catalogue.jobs[job_key])
        return found

    def _reckoned(self, catalogue: Catalogue, entry: PartJob) -> JobFigures:
        own, taken = self.own.get(entry.key, OwnFigures()), self.taken.get(entry.key, Taken())
        euros = entry.job.parts_eur
        listed = Range(euros.low, euros.typical, euros.high).times(self.minor_per_euro)
        hours = usual_hours(entry.job.hours if own.hours is None else own.hours)
        why, missing = self._obstacles(catalogue, entry)
        if not why and WORKSHOP in (own.done_by, WORKSHOP if self.terms.gives_away and own.done_by != OWN else ""):
            why = ("chosen",)
        terms = self.terms
        return JobFigures(
            hours=sharpened(hours, taken.hours),
            parts_minor=sharpened(own.parts_minor or listed, taken.parts_minor),
            minor_per_hour=terms.workshop_minor_per_hour if why else terms.own_minor_per_hour,
            done_by=WORKSHOP if why else OWN,
            why=why,
            missing_tools=missing,
            closed_jobs=max(len(taken.hours), len(taken.parts_minor)),
        )

    def _obstacles(self, catalogue: Catalogue, entry: PartJob) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What stands in the way of doing a job here, and the tools that are missing."""
        job, terms = entry.job, self.terms
        there = frozenset(job.tools) if terms.tools is None else terms.tools
        missing = tuple(tool for tool in job.tools if tool not in there or tool in terms.tools_lacking)
        why = (
            ("licensed", job.licensed and not terms.licensed_here),
            ("too-difficult", job.difficulty > terms.hardest_own),
            ("no-stands", terms.raising == NO_STANDS and _is_raised(catalogue, entry)),
            ("missing-tool", bool(missing)),
        )
        return tuple(code for code, stands in why if stands), missing


def _is_raised(catalogue: Catalogue, entry: PartJob) -> bool:
    opened = (catalogue.access[reference.partition(".")[0]] for reference in entry.job.access)
    return _RAISED in entry.job.cautions or any(_RAISED in access.cautions for access in opened)


def tool_words(catalogue: Catalogue) -> frozenset[str]:
    """Every tool that a job of the catalogue names."""
    return frozenset(tool for entry in catalogue.jobs.values() for tool in entry.job.tools)
