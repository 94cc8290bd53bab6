"""What goes well together: jobs under the same dismantling, bundles, and looks that are worth their minutes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils.translation import gettext as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.walk import minutes_text
from inspections.catalogue.loader import default_catalogue
from scheduling.core.reasons import odds

Json = dict[str, Any]
MOST_BESIDE = 4
LEAST_SHARED_HOURS = 0.25
"""Less than a quarter of an hour shared is no reason to do two jobs together."""


@dataclass(frozen=True, slots=True)
class BundleShown:
    """Jobs that can wait singly and are worth doing together."""

    jobs: tuple[str, ...]
    shared: str
    saving: str
    cost: str


@dataclass(frozen=True, slots=True)
class LookShown:
    """A look that saves more than its minutes cost."""

    title: str
    place: str
    minutes: str
    saving: str
    why: str


def titled(job: Json) -> str:
    """A job with its place, in one line."""
    return ", ".join(filter(None, [words.told(job["title"]), words.places(job["positions"])]))


def beside(figures: Figures, item: Json, others: Iterable[Json]) -> tuple[str, ...]:
    """What else is open once this job is begun: other jobs of the list, with the dismantling they are spared."""
    mine = set(item["access"])
    if not mine:
        return ()
    shared = [(_shared_hours(mine & set(other["access"])), other) for other in others if other is not item]
    telling = sorted((each for each in shared if each[0] >= LEAST_SHARED_HOURS), key=lambda each: -each[0])
    return tuple(
        _("%(job)s: %(hours)s of taking apart spared") % {"job": titled(other), "hours": figures.hours(hours)}
        for hours, other in telling[:MOST_BESIDE]
    )


def _shared_hours(units: Iterable[str]) -> float:
    return sum(map(_unit_hours, units))


@lru_cache(maxsize=1024)
def _unit_hours(unit: str) -> float:
    entry = default_catalogue().access.get(unit.partition(".")[0])
    return entry.hours if entry else 0.0


def bundles_shown(figures: Figures, document: Json) -> tuple[BundleShown, ...]:
    """Bundles with the names of their jobs."""
    known = {_key(item): titled(item) for name in ("items", "can_wait") for item in document[name]}
    return tuple(
        BundleShown(
            jobs=tuple(_name(known, job) for job in bundle["jobs"]),
            shared=figures.listed(words.work(unit) for unit in bundle["shared"]),
            saving=figures.money_of(bundle["saving"]),
            cost=figures.money_of(bundle["cost"]),
        )
        for bundle in document.get("bundles", ())
    )


def _name(known: Mapping[tuple[str, ...], str], job: Json) -> str:
    entry = default_catalogue().jobs.get(job["job"])
    return known.get(_key(job)) or titled({**job, "title": entry.job.title if entry else job["job"]})


def _key(job: Json) -> tuple[str, ...]:
    return (job["job"], *job["positions"])


def looks_shown(figures: Figures, looks: Sequence[Json]) -> tuple[LookShown, ...]:
    """Looks asked for, the most telling first."""
    return tuple(_look(figures, look) for look in looks)


def look_cautions(looks: Sequence[Json]) -> tuple[str, ...]:
    """What can hurt somebody at any of these looks, each warning once."""
    return tuple(dict.fromkeys(words.told(caution) for look in looks for caution in look["cautions"]))


def _look(figures: Figures, look: Json) -> LookShown:
    told = _("Unseen for too long: %(odds)s are minor or worse by now.")
    return LookShown(
        title=words.told(look["title"]),
        place=words.places(look["positions"]),
        minutes=minutes_text(figures, look["minutes"]),
        saving=figures.money_of(look["saving"]),
        why=told % {"odds": words.told(odds(look["bad_chance_fraction"]))},
    )
