"""The decider's document as a page tells it: what to do first, what it costs, what waiting costs, and why."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext

from fleetcare.fleet.words import Doer
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.beside import (
    BundleShown,
    LookShown,
    beside,
    bundles_shown,
    look_cautions,
    looks_shown,
    titled,
)
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.hands import doer, why_told
from fleetcare.portal.web.presenters.prices import closed_count, spread
from inspections.catalogue.loader import default_catalogue
from scheduling.core.backlog import HORIZON_KM
from scheduling.core.reasons import Reason, odds, phrase

Json = dict[str, Any]

OPEN_JOBS = 2
"""Jobs at the head of the list that are spread out at once."""


@dataclass(frozen=True, slots=True)
class JobShown:
    """One job of the list with every term of its rank."""

    rank: str
    title: str
    place: str
    grade: words.GradeShown
    before_driving: bool
    now: bool
    """There is no day to wait for: now."""
    do_before: Day | None
    cost: str
    cost_between: str
    """What four such jobs in five cost; empty where that is one figure."""
    hours: str
    hours_between: str
    rests_on: str
    """Closed jobs that sharpened cost and hours."""
    waiting: str
    waiting_is_dearer: bool
    worth: str
    failure_chance: str
    licensed: bool
    difficulty: str
    open: bool
    """Whether its terms are spread out at once; the others unfold."""
    lead: str
    """The most telling reason."""
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    access: tuple[str, ...]
    follow_ups: tuple[str, ...]
    who: str
    given_away: bool
    who_because: str
    alternatives: tuple[str, ...]
    beside: tuple[str, ...]
    """Other jobs that are spared dismantling when this one is begun."""
    key: str
    """The catalogue's key of a job that can be opened; empty for what is no job."""
    positions: tuple[str, ...]
    open_job: str
    """The id of the job that is on the list already."""
    on_list: str


@dataclass(frozen=True, slots=True)
class BacklogShown:
    """The jobs worth doing now in their order, and those that can wait."""

    items: tuple[JobShown, ...]
    can_wait: tuple[JobShown, ...]
    bundles: tuple[BundleShown, ...]
    looks: tuple[LookShown, ...]
    look_cautions: tuple[str, ...]
    total_cost: str
    total_hours: str
    horizon: str
    """The distance that the chance of failing is told for."""
    one_unit: str
    """One unit of the fleet's currency: what the worth of a job is told for."""


def backlog_shown(figures: Figures, document: Json, today: date, most: int | None = None) -> BacklogShown:
    """The backlog document (API: `backlog/`).

    Of a long one the first `most` jobs, and up to three times as many of those that must be done before driving,
    without those that can wait.
    """
    items, can_wait = document["items"], document["can_wait"]
    first = items if most is None else items[: max(most, min(3 * most, sum(item["before_driving"] for item in items)))]
    waiting = can_wait if most is None else ()
    everything, looks = [*items, *can_wait], document.get("looks", ())
    return BacklogShown(
        items=tuple(_job(figures, item, today, everything) for item in first),
        can_wait=tuple(_job(figures, item, today, everything) for item in waiting),
        bundles=bundles_shown(figures, document),
        looks=looks_shown(figures, looks),
        look_cautions=look_cautions(looks),
        total_cost=figures.money_of(document["total_cost"]),
        total_hours=figures.hours(sum(item["hours"] for item in items)),
        horizon=figures.distance(HORIZON_KM, step=100),
        one_unit=figures.money_of({"amount": "1", "currency": figures.currency}),
    )


def _job(figures: Figures, item: Json, today: date, everything: Sequence[Json]) -> JobShown:
    reasons = _reasons(figures, item)
    waiting = item["cost_of_waiting"]["amount"]
    do_before = item["do_before"]
    access = item["access"]
    cautions = [*words.access_cautions(access), *(words.told(caution) for caution in item.get("cautions", ()))]
    return JobShown(
        rank=figures.number(item["rank"]),
        title=words.told(item["title"]),
        place=words.places(item["positions"]),
        grade=words.grade(item["grade"]),
        before_driving=item["before_driving"],
        now=do_before is None or date.fromisoformat(do_before) <= today,
        do_before=figures.day(do_before),
        cost=figures.money_of(item["cost_now"]),
        cost_between=_between(item, "cost_range", figures.money_of),
        hours=figures.hours(item["hours"]),
        hours_between=_between(item, "hours_range", figures.hours),
        rests_on=closed_count(figures, item.get("closed_jobs", 0)),
        waiting=figures.money_of({**item["cost_of_waiting"], "amount": waiting.lstrip("-")}),
        waiting_is_dearer=not waiting.startswith("-"),
        worth=figures.number(item["worth_per_cost"], 1),
        failure_chance=figures.percent(item["failure_chance_fraction"]),
        licensed=item.get("licensed", False),
        difficulty=words.difficulty(item.get("difficulty")),
        open=item["before_driving"] or item["rank"] <= OPEN_JOBS,
        lead=reasons[0] if reasons else "",
        reasons=reasons,
        cautions=tuple(dict.fromkeys(cautions)),
        access=tuple(words.access(unit) for unit in access),
        follow_ups=tuple(_follow_up(figures, key) for key in item["follow_ups"]),
        who=doer(item.get("done_by", Doer.OWN)),
        given_away=item.get("done_by") == Doer.WORKSHOP,
        who_because=why_told(item.get("done_by_because", ())),
        alternatives=tuple(_alternative(figures, other) for other in item.get("alternatives", ())),
        beside=beside(figures, item, everything),
        key=item["job"] if item["job"] in default_catalogue().jobs else "",
        positions=tuple(item["positions"]),
        open_job=str(item.get("job_id") or ""),
        on_list=_on_list(figures, item),
    )


def _between(item: Json, name: str, told: Callable[[Any], str]) -> str:
    """The bounds of a range of the document; empty where they read alike."""
    found = item.get(name)
    if not found:
        return ""
    return spread(told(found["low"]), "", told(found["high"])).between


def _alternative(figures: Figures, other: Json) -> str:
    """Another job for the same parts, and what a unit of money in it saves."""
    facts = {"cost": figures.money_of(other["cost_now"]), "worth": figures.number(other["worth_per_cost"], 1)}
    kept = gettext("%(cost)s, saves %(worth)s for each unit of it; the part stays") % facts
    renewed = gettext("%(cost)s, saves %(worth)s for each unit of it; the part is new") % facts
    return f"{titled(other)}: {renewed if other['renews'] else kept}"


def _on_list(figures: Figures, item: Json) -> str:
    """How far a job is that somebody put on the list; empty for one that nobody did."""
    if not item.get("job_id"):
        return ""
    if item.get("planned_on"):
        return gettext("On the list, planned for %(day)s") % {"day": figures.day(item["planned_on"])}
    return gettext("On the list of jobs")


def _reasons(figures: Figures, item: Json) -> tuple[str, ...]:
    """The document's reasons as sentences; those with keys or kilometres in them in the reader's words and unit."""
    chance, opened = item["failure_chance_fraction"], item.get("opened_before", ())
    own = {
        phrase(Reason("failure-chance", {"chance_fraction": chance, "horizon_km": HORIZON_KM})): gettext(
            "%(odds)s fail within %(distance)s like this"
        )
        % {"odds": words.told(odds(chance)), "distance": figures.distance(HORIZON_KM, step=100)},
        phrase(Reason("access-opened", {"work": ", ".join(opened)})): gettext(
            "already opened or done for a job before it: %(work)s"
        )
        % {"work": figures.listed(words.work(key) for key in opened)},
    }
    return tuple(_sentence(own.get(reason) or words.told(reason)) for reason in item["reasons"])


def _sentence(text: str) -> str:
    """A reason with a capital and a full stop."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _follow_up(figures: Figures, key: str) -> str:
    title, after_km = words.follow_up(key)
    if not after_km:
        return title
    return gettext("%(what)s after %(distance)s") % {"what": title, "distance": figures.distance(after_km, step=10)}
