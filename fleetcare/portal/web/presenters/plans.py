"""A plan and its frontier as a page tells them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleetcare.portal.charts.drawing import Axis, Chart, Line, drawn
from fleetcare.portal.charts.ticks import round_ticks
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.plan_dangers import DangerShown, dangers_shown

Json = dict[str, Any]
Names = Mapping[str, str]
FEW = 12
"""So many jobs left out are shown at once; more unfold."""
FEW_BOUGHT = 6
"""The same of the jobs that a step of the frontier buys."""


@dataclass(frozen=True, slots=True)
class JobPlanned:
    """A job in a visit, or one left out with the reason."""

    vehicle: str
    vehicle_id: str
    title: str
    place: str
    grade: words.GradeShown | None
    cost: str
    hours: str
    saves: str
    before_driving: bool
    person: str
    by_workshop: bool
    licensed: bool
    why: str


@dataclass(frozen=True, slots=True)
class VehicleInVisit:
    """What is done on one vehicle at one visit."""

    name: str
    id: str
    jobs: tuple[JobPlanned, ...]
    access: tuple[str, ...]
    follow_ups: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VisitShown:
    """One visit with what it takes and what it saves."""

    day: Day | None
    vehicles: tuple[VehicleInVisit, ...]
    cautions: tuple[str, ...]
    hours: str
    hours_there: str
    cost: str
    budget: str
    saves: str


@dataclass(frozen=True, slots=True)
class PlanShown:
    """A plan for a reader: what is done when, what is left, how sure it is the best."""

    title: str
    made_on: Day | None
    visits: tuple[VisitShown, ...]
    left_out: tuple[JobPlanned, ...]
    left_out_count: str
    few_left_out: bool
    value: str
    certainty: str
    impossible: bool
    ways_out: tuple[tuple[str, ...], ...]
    dangers: tuple[DangerShown, ...]
    outdated: tuple[str, ...]
    changes: tuple[tuple[str, str], ...]
    past: bool
    names: Names


def plan_shown(figures: Figures, document: Json, names: Names) -> PlanShown:
    """The plan document (API: `plans/<plan>/`)."""
    return PlanShown(
        title=document["title"],
        made_on=figures.day(document["made_on"]),
        visits=tuple(_visit(figures, visit, names) for visit in document["visits"]),
        left_out=tuple(_job(figures, job, names) for job in document["left_out"]),
        left_out_count=_count(figures, len(document["left_out"])),
        few_left_out=len(document["left_out"]) <= FEW,
        value=figures.money_of(document["value"]),
        certainty=_certainty(figures, document),
        impossible=document["status"] == "infeasible",
        ways_out=tuple(tuple(words.told(each["say"]) for each in way) for way in document["ways_out"]),
        dangers=dangers_shown(figures, document["warnings"], names),
        outdated=tuple(words.told(each["say"]) for each in document["outdated_because"]),
        changes=tuple(_change(each, names) for each in document["changes"] or ()),
        past=any(each["code"] == "visit-past" for each in document["outdated_because"]),
        names=names,
    )


def _certainty(figures: Figures, document: Json) -> str:
    if document["status"] == "optimal" and document["gap_fraction"] == 0:
        return _("No other choice saves more: that is proved.")
    return _("At most %(share)s of what is possible is missed.") % {"share": figures.percent(document["gap_fraction"])}


def _visit(figures: Figures, visit: Json, names: Names) -> VisitShown:
    vehicles = dict.fromkeys(job["vehicle"] for job in visit["jobs"])
    return VisitShown(
        day=figures.day(visit["date"]),
        vehicles=tuple(_in_visit(figures, visit, vehicle, names) for vehicle in vehicles),
        cautions=tuple(words.told(caution) for caution in visit["cautions"]),
        hours=figures.hours(visit["hours"]),
        hours_there=figures.hours(visit["hours_there"]),
        cost=figures.money_of(visit["cost"]),
        budget=figures.money_of(visit["budget"]),
        saves=figures.money_of(visit["saves"]),
    )


def _in_visit(figures: Figures, visit: Json, vehicle: str, names: Names) -> VehicleInVisit:
    return VehicleInVisit(
        name=names.get(vehicle, ""),
        id=vehicle,
        jobs=tuple(_job(figures, job, names) for job in visit["jobs"] if job["vehicle"] == vehicle),
        access=_units(visit["access"], vehicle),
        follow_ups=_units(visit["follow_ups"], vehicle),
    )


def _units(units: Sequence[Json], vehicle: str) -> tuple[str, ...]:
    """What is taken apart on a vehicle, or follows."""
    return tuple(words.work(unit["unit"]) for unit in units if unit["vehicle"] == vehicle)


def _job(figures: Figures, job: Json, names: Names) -> JobPlanned:
    return JobPlanned(
        vehicle=names.get(job["vehicle"], ""),
        vehicle_id=job["vehicle"],
        title=words.told(job["title"]),
        place=words.places(job["positions"]),
        grade=words.grade(job["grade"]) if job.get("grade") else None,
        cost=figures.money_of(job["cost"]) if "cost" in job else "",
        hours=figures.hours(job["hours"]) if "hours" in job else "",
        saves=figures.money_of(job["saves"]) if "saves" in job else "",
        before_driving=job.get("before_driving", False),
        person=job.get("person") or "",
        by_workshop=job.get("done_by") == "workshop",
        licensed=job.get("licensed", False),
        why=words.told(job.get("why", "")),
    )


def _change(change: Json, names: Names) -> tuple[str, str]:
    what = {
        "came-in": _("came in"),
        "went-out": _("went out"),
        "moved": _("moved to another visit"),
        "cost-changed": _("costs otherwise"),
        "worth-changed": _("is worth otherwise"),
    }[change["kind"]]
    job = " ".join(filter(None, [words.told(change["title"]), words.places(change["positions"])]))
    because = "; ".join(words.told(cause["say"]) for cause in change["because"])
    return f"{names.get(change['vehicle'], '')}: {job} {what}", because


@dataclass(frozen=True, slots=True)
class SummaryShown:
    """A stored plan in a list."""

    id: str
    first_visit: Day | None
    jobs: str
    value: str
    outdated: bool


def summaries_shown(figures: Figures, summaries: Iterable[Json]) -> list[SummaryShown]:
    """The plans kept, the newest first."""
    return [
        SummaryShown(
            id=str(each["id"]),
            first_visit=figures.day(each["first_visit"]),
            jobs=_count(figures, each["planned_jobs"]),
            value=figures.money_of(each["value"]),
            outdated=each["outdated"],
        )
        for each in summaries
    ]


@dataclass(frozen=True, slots=True)
class StepShown:
    """One point of the frontier: so much in all, what it saves, which jobs the last step bought."""

    amount: str
    value: str
    bought: str
    jobs: tuple[str, ...]
    many: str
    """How many jobs, where they are too many to be shown at once."""


@dataclass(frozen=True, slots=True)
class FrontierShown:
    """What each further amount buys, drawn and in a table."""

    of_money: bool
    steps: tuple[StepShown, ...]
    drawing: SafeString


def frontier_shown(figures: Figures, document: Json, names: Names) -> FrontierShown:
    """The frontier document (API: `plans/frontier/`)."""
    of_money = document["of"] == "money"
    steps = tuple(_step(figures, point, names) for point in document["points"])
    drawing = _curve(figures, document["points"], of_money=of_money)
    return FrontierShown(of_money, steps, drawing)


def _step(figures: Figures, point: Json, names: Names) -> StepShown:
    bought = point["bought"]
    jobs = tuple(
        f"{names.get(job['vehicle'], '')}: {words.at_place(words.told(job['title']), words.places(job['positions']))}"
        for job in bought["came_in"]
    )
    return StepShown(
        amount=figures.money_of(point["amount"]) if point["amount"] else figures.hours(point["hours"]),
        value=figures.money_of(point["value"]) if point["value"] else _("not all that must be done fits"),
        bought=figures.money_of(bought["value"]) if bought["value"] else "",
        jobs=jobs,
        many=_count(figures, len(jobs)) if len(jobs) > FEW_BOUGHT else "",
    )


def _count(figures: Figures, count: int) -> str:
    return ngettext("%(count)s job", "%(count)s jobs", count) % {"count": figures.number(count)}


def _curve(figures: Figures, points: Sequence[Json], *, of_money: bool) -> SafeString:
    """Money or hours to the right, savings upwards; nothing where fewer than two points can be done."""
    known = [(_amount(point), float(Decimal(point["value"]["amount"]))) for point in points if point["value"]]
    if len(known) < 2 or known[0][0] >= known[-1][0]:
        return SafeString("")
    right, top = known[-1][0], max(max(value for _x, value in known), 1.0)
    x_ticks, y_ticks = round_ticks(known[0][0], right, 5), round_ticks(0.0, top, 5)
    money = figures.currency
    chart = Chart(
        key="frontier",
        title=_("What more buys"),
        description=_("What the best plan saves, for each amount there is in all."),
        x=Axis(known[0][0], right, _ticks(figures, x_ticks), money if of_money else _("hours")),
        y=Axis(0.0, top, _ticks(figures, y_ticks), _("saves, %(currency)s") % {"currency": money}),
        lines=(Line(tuple(known), "measured"),),
        dots=tuple(known),
    )
    return mark_safe(drawn(chart))  # noqa: S308 - drawn() escapes every text


def _amount(point: Json) -> float:
    return float(Decimal(point["amount"]["amount"])) if point["amount"] else float(point["hours"])


def _ticks(figures: Figures, values: Iterable[float]) -> tuple[tuple[float, str], ...]:
    return tuple((value, figures.number(value)) for value in values)
