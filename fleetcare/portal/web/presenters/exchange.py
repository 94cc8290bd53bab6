"""Exports, restores and imports as their page tells them."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext, ngettext

from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.words import ExchangeState
from fleetcare.support.told import told

if TYPE_CHECKING:
    from fleetcare.portal.models import ExchangeJob

Json = dict[str, Any]
MOST_FAULTS = 100
NO_COLUMN = ""


@dataclass(frozen=True, slots=True)
class JobShown:
    """One job: what it is, how far it is, and what there is to fetch or to look at."""

    id: uuid.UUID
    what: str
    asked: Day | None
    state: str
    at_work: bool
    told: str
    faults: tuple[str, ...]
    file: str
    """Where its file is fetched; empty while there is none."""


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """A field of the table, and which column says it."""

    name: str
    title: str
    required: bool
    missing: bool
    columns: tuple[tuple[str, bool], ...]
    """Every column, and whether it is the one."""


@dataclass(frozen=True, slots=True)
class QuestionShown:
    """What has to be answered: the cell that leaves it open, and the possible answers."""

    name: str
    sentence: str
    evidence: str
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ImportShown:
    """A checked table. `ready` says that there is something to store and nothing to ask."""

    job: JobShown
    read_as: str
    columns: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    mapping: tuple[ColumnChoice, ...]
    questions: tuple[QuestionShown, ...]
    told: tuple[str, ...]
    faults: tuple[Json, ...]
    more_faults: str
    bad_rows: int
    new: int
    ready: bool
    stored: bool


def job_shown(figures: Figures, job: "ExchangeJob") -> JobShown:
    """A job as a line of the list."""
    product = f"/api/v1/fleets/{job.fleet_id}/exports/{job.pk}/file/" if job.product else ""
    problem = job.problem or {}
    faults = tuple(told(fault["detail"]) for fault in problem.get("errors", ())) or (
        (told(problem["detail"]),) if problem else ()
    )
    return JobShown(
        id=job.pk,
        what=_what(job),
        asked=figures.day(job.created_at.date()),
        state=_STATES[ExchangeState(job.state)](figures, job.progress_fraction),
        at_work=job.state in {ExchangeState.QUEUED, ExchangeState.RUNNING},
        told=_told(figures, job.result),
        faults=faults,
        file=product,
    )


_STATES = {
    ExchangeState.QUEUED: lambda figures, share: gettext("waiting"),
    ExchangeState.RUNNING: lambda figures, share: gettext("at work, %(share)s") % {"share": figures.percent(share)},
    ExchangeState.DONE: lambda figures, share: gettext("done"),
    ExchangeState.FAILED: lambda figures, share: gettext("failed, nothing was changed"),
}


def _what(job: "ExchangeJob") -> str:
    names = {
        "odometer": gettext("Odometer readings"),
        "fuel": gettext("Fuel"),
        "services": gettext("Work done"),
        "vehicles": gettext("Vehicles"),
    }
    return names.get(job.options.get("what", ""), "")


def tables() -> list[tuple[str, str]]:
    """The kinds of tables that can be imported."""
    return [
        ("vehicles", gettext("Vehicles")),
        ("odometer", gettext("Odometer readings")),
        ("fuel", gettext("Fuel")),
        ("services", gettext("Work done")),
    ]


def _told(figures: Figures, result: Json) -> str:
    if "new" in result:
        return _counts(figures, result)
    if "size_bytes" in result:
        size = filesizeformat(result["size_bytes"])
        return gettext("%(rows)s rows, %(photos)s photos, %(size)s") % {
            "rows": figures.number(result["rows"]),
            "photos": figures.number(result["photos"]),
            "size": size,
        }
    if "rows" in result:
        return ngettext("%(count)d row restored", "%(count)d rows restored", result["rows"]) % {"count": result["rows"]}
    return ""


def _counts(figures: Figures, result: Json) -> str:
    if result["missing"] or result["questions"]:
        return gettext("nothing can be said before it is known what the columns and cells mean")
    stored = gettext("%(count)s stored") if result["stored"] else gettext("%(count)s new")
    parts = [
        stored % {"count": figures.number(result["new"])},
        gettext("%(count)s stored already") % {"count": figures.number(result["repeated"])},
        gettext("%(count)s wrong") % {"count": figures.number(result["bad_rows"])},
    ]
    return figures.listed(parts)


def import_shown(figures: Figures, job: "ExchangeJob") -> ImportShown:
    """A job of a table as its own page."""
    result, shown = job.result, job_shown(figures, job)
    faults = tuple({**fault, "detail": told(fault["detail"])} for fault in result.get("faults", ()))
    more = len(faults) - MOST_FAULTS
    asked = tuple(_question(question) for question in result.get("questions", ()))
    missing = result.get("missing", ())
    return ImportShown(
        job=shown,
        read_as=result.get("read_as", ""),
        columns=tuple(result.get("columns", ())),
        sample=tuple(tuple(row) for row in result.get("sample", ())),
        mapping=tuple(_columns(job, result)),
        questions=asked,
        told=tuple(_answer(answer) for answer in result.get("told", ())),
        faults=faults[:MOST_FAULTS],
        more_faults=ngettext("and %(count)d more", "and %(count)d more", more) % {"count": more} if more > 0 else "",
        bad_rows=result.get("bad_rows", 0),
        new=result.get("new", 0),
        ready=bool(
            job.state == ExchangeState.DONE and result.get("new") and not asked and not missing and not result["stored"]
        ),
        stored=bool(result.get("stored")),
    )


def _columns(job: "ExchangeJob", result: Json) -> Iterable[ColumnChoice]:
    # After a refusal what was asked for last is shown, so that one word of it can be changed.
    mapping = job.options.get("mapping") or result.get("mapping", {})
    names = field_names()
    for field in result.get("fields", ()):
        chosen = mapping.get(field["name"], NO_COLUMN)
        yield ColumnChoice(
            name=field["name"],
            title=str(names.get(field["name"], field["name"].replace("-", " "))),
            required=field["required"],
            missing=field["name"] in result.get("missing", ()),
            columns=tuple((column, column == chosen) for column in result.get("columns", ()) if column),
        )


def field_names() -> dict[str, str]:
    """What each field of a table is called; traits are called by their keys."""
    return {
        "vehicle": gettext("Vehicle (name, plate or VIN)"),
        "read_on": gettext("Day"),
        "filled_on": gettext("Day"),
        "done_on": gettext("Day"),
        "odometer": gettext("Odometer"),
        "litres": gettext("Amount of fuel"),
        "full": gettext("Filled to the top"),
        "missed_before": gettext("A fill before was not written down"),
        "price": gettext("Price in all"),
        "note": gettext("Note"),
        "title": gettext("What was done"),
        "hours": gettext("Hours"),
        "labour_cost": gettext("Cost of labour"),
        "parts_cost": gettext("Cost of parts"),
        "other_cost": gettext("Other cost"),
        "name": gettext("Name"),
        "plate": gettext("Plate"),
        "vin": gettext("VIN"),
        "make": gettext("Make"),
        "model": gettext("Model"),
        "model_year": gettext("Model year"),
        "first_used_on": gettext("First used"),
    }


def _question(question: Json) -> QuestionShown:
    sentences = {
        "decimal": gettext("What parts the decimals: a comma or a point?"),
        "day_order": gettext("What comes first in a date: the day or the month?"),
    }
    return QuestionShown(
        name=question["name"],
        sentence=sentences[question["name"]],
        evidence=question["evidence"],
        choices=tuple((choice, _choices()[choice]) for choice in question["choices"]),
    )


def _answer(answer: Json) -> str:
    told = {"answer": _choices()[answer["value"]], "cell": answer["evidence"]}
    if answer["how"] == "given":
        return gettext("You said: %(answer)s.") % told
    return gettext("The file tells by “%(cell)s”: %(answer)s.") % told


def _choices() -> dict[str, str]:
    return {
        "comma": gettext("a comma parts the decimals"),
        "point": gettext("a point parts the decimals"),
        "dmy": gettext("the day comes first"),
        "mdy": gettext("the month comes first"),
    }
