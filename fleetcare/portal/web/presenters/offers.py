"""What can be put on an estimate: jobs that are open and what the backlog proposes, each with other ways to do it."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from scheduling.core.backlog import HORIZON_KM
from scheduling.core.reasons import odds

if TYPE_CHECKING:
    from scheduling.models import Job

Json = dict[str, Any]
JOB = "job"
LEAST_CHANCE = 0.01


@dataclass(frozen=True, slots=True)
class OtherWay:
    """Another job for the same parts, offered beside."""

    value: str
    title: str
    cost: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Offer:
    """One line to choose."""

    value: str
    """Of the form: "job" and an id, or the catalogue's key and the positions."""
    title: str
    place: str
    grade: words.GradeShown | None
    cost: str
    before_driving: bool
    can_wait: bool
    odds: str
    why: str
    """What the customer may be told of it."""
    others: tuple[OtherWay, ...]
    chosen: bool


def offers_shown(
    figures: Figures, document: Json, jobs: "Iterable[Job]", chosen: Collection[str], others: Collection[str]
) -> list[Offer]:
    """The backlog (with its open jobs marked) in its order, then jobs that were opened by hand."""
    listed = [
        _offer(figures, item, name == "can_wait", chosen, others)
        for name in ("items", "can_wait")
        for item in document[name]
    ]
    known = {offer.value for offer in listed}
    return [*listed, *(offer for offer in (_by_hand(job, chosen) for job in jobs) if offer.value not in known)]


def value_of(key: str, positions: Iterable[str]) -> str:
    """How a form names a job of the catalogue at its places."""
    return " ".join([key, *positions])


def _offer(figures: Figures, item: Json, can_wait: bool, chosen: Collection[str], others: Collection[str]) -> Offer:
    value = f"{JOB} {item['job_id']}" if item.get("job_id") else value_of(item["job"], item["positions"])
    return Offer(
        value=value,
        title=words.told(item["title"]),
        place=words.places(item["positions"]),
        grade=words.grade(item["grade"]) if item["grade"] else None,
        cost=figures.money_of(item["cost_now"]),
        before_driving=item["before_driving"],
        can_wait=can_wait,
        odds=_odds(figures, item),
        why=_why(figures, item),
        others=tuple(_other(figures, value, other, others) for other in item.get("alternatives", ())),
        chosen=value in chosen,
    )


def _other(figures: Figures, value: str, other: Json, chosen: Collection[str]) -> OtherWay:
    named = f"{value} + {value_of(other['job'], other['positions'])}"
    return OtherWay(named, words.told(other["title"]), figures.money_of(other["cost_now"]), named in chosen)


def _by_hand(job: "Job", chosen: Collection[str]) -> Offer:
    value = f"{JOB} {job.pk}"
    return Offer(
        value=value,
        title=job.title,
        place=words.places(job.positions),
        grade=None,
        cost="",
        before_driving=job.before_driving,
        can_wait=False,
        odds="",
        why="",
        others=(),
        chosen=value in chosen,
    )


def _why(figures: Figures, item: Json) -> str:
    """The grade, and the chance of failing: what a customer understands of the backlog's reasons."""
    found = _("Found %(grade)s.") % {"grade": words.grade(item["grade"]).word} if item["grade"] else ""
    return " ".join(filter(None, [found, _odds(figures, item)]))


def _odds(figures: Figures, item: Json) -> str:
    if item["failure_chance_fraction"] < LEAST_CHANCE:
        return ""
    return _("%(odds)s like this fail within %(distance)s.") % {
        "odds": words.told(odds(item["failure_chance_fraction"])),
        "distance": figures.distance(HORIZON_KM, step=100),
    }
