"""What jobs take besides money and time: who may do them, and how the vehicle has to stand.

Rules of the trade read off the catalogue's own words; common practice, no source.
"""

import re
from collections.abc import Iterable

from inspections.catalogue.catalogue import Catalogue
from scheduling.core.plan_jobs import Demands
from scheduling.core.planner.problem import BayKind
from scheduling.services.plans.asking import DIFFICULTIES, LICENSED

STANDS_CAUTION = "stands"
"""The catalogue warns of working under a raised vehicle wherever it has to be raised."""
_NEEDS_LIFT = re.compile(r"(transmission jack|gearbox jack|lifting table|battery lift)(?!.* or )")
"""Tools that serve only under a vehicle on a lift; where the catalogue names another way ("transmission jack or second
trolley jack"), stands will do."""


def demands_of(catalogue: Catalogue, job_keys: Iterable[str], units: Iterable[str]) -> Demands:
    """Skills and bays of these jobs and of these units of access."""
    keys = [key for key in dict.fromkeys(job_keys) if key in catalogue.jobs]
    return Demands(
        skills={key: skills_of(catalogue, key) for key in keys},
        job_bays={key: bay_of_job(catalogue, key) for key in keys},
        unit_bays={unit: bay_of_unit(catalogue, unit) for unit in dict.fromkeys(units)},
    )


def skills_of(catalogue: Catalogue, job_key: str) -> tuple[str, ...]:
    """Its difficulty, and a licence where the work takes one."""
    job = catalogue.jobs[job_key].job
    return (DIFFICULTIES[job.difficulty - 1], *([LICENSED] if job.licensed else ()))


def skills_given(skills: Iterable[str]) -> tuple[str, ...]:
    """What a person may do by these words: who manages a difficulty manages all below; without one, any."""
    words = tuple(dict.fromkeys(skills))
    levels = [DIFFICULTIES.index(word) for word in words if word in DIFFICULTIES]
    return tuple(dict.fromkeys((*DIFFICULTIES[: max(levels, default=len(DIFFICULTIES) - 1) + 1], *words)))


def bay_of_unit(catalogue: Catalogue, unit: str) -> BayKind:
    """How the vehicle has to stand while this is taken apart; a follow-up takes none."""
    access = catalogue.access.get(unit.partition(".")[0])
    if access is None:
        return ""
    if any(_NEEDS_LIFT.match(tool) for tool in access.tools):
        return "lift"
    return "stands" if STANDS_CAUTION in access.cautions else ""


def bay_of_job(catalogue: Catalogue, job_key: str) -> BayKind:
    """How the vehicle has to stand for the job itself: as for its access, or as where its part is looked at."""
    entry = catalogue.jobs[job_key]
    access: list[BayKind] = [bay_of_unit(catalogue, unit) for unit in entry.job.access]
    if "lift" in access or any(_NEEDS_LIFT.match(tool) for tool in entry.job.tools):
        return "lift"
    stations = {catalogue.stations[check.station].raises for check in entry.part.checks}
    raised = "stands" in access or STANDS_CAUTION in entry.job.cautions or "none" not in stations
    return "stands" if raised else ""
