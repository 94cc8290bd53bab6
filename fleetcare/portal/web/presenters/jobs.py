"""A job and a kit list as a page tells them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures

Json = dict[str, Any]
_STATES: Mapping[str, str | Promise] = {
    "open": gettext_lazy("open"),
    "planned": gettext_lazy("planned"),
    "in-work": gettext_lazy("in work"),
    "done": gettext_lazy("done"),
    "declined": gettext_lazy("declined"),
    "deferred": gettext_lazy("put off"),
}


@dataclass(frozen=True, slots=True)
class JobPage:
    """One job for a reader, and which steps there are."""

    id: str
    vehicle_id: str
    vehicle: str
    title: str
    place: str
    state: str
    state_word: str
    steps: frozenset[str]
    safety: bool
    before_driving: bool
    planned_on: Day | None
    assigned_to: str
    note: str
    reason: str
    deferred_until: Day | None
    done_on: Day | None
    odometer: str
    hours: str
    total: str
    parts: tuple[str, ...]


def job_shown(figures: Figures, job: Json) -> JobPage:
    """A job as the API answers it."""
    return JobPage(
        id=str(job["id"]),
        vehicle_id=str(job["vehicle"]),
        vehicle=job.get("vehicle_name", ""),
        title=words.told(job["title"]),
        place=words.places(job["positions"]),
        state=job["state"],
        state_word=str(_STATES[job["state"]]),
        steps=frozenset(job["steps"]),
        safety=job["safety"],
        before_driving=job["before_driving"],
        planned_on=figures.day(job["planned_on"]),
        assigned_to=job["assigned_to"],
        note=job["note"],
        reason=job["reason"],
        deferred_until=figures.day(job["deferred_until"]),
        done_on=figures.day(job["done_on"]),
        odometer=figures.distance(job["odometer_km"]) if job["odometer_km"] is not None else "",
        hours=figures.hours(job["hours"]) if job["hours"] is not None else "",
        total=figures.money_of(job["total"]) if job["total"] else "",
        parts=tuple(_part(figures, line) for line in job["parts"]),
    )


def _part(figures: Figures, line: Json) -> str:
    told = [line["description"], line["part_number"]]
    if line["warranty_until"]:
        told.append(_("warranty until %(day)s") % {"day": figures.day(line["warranty_until"])})
    return ", ".join(filter(None, told))


@dataclass(frozen=True, slots=True)
class KitShown:
    """What to lay out, cautions first."""

    cautions: tuple[str, ...]
    licensed: tuple[str, ...]
    jobs: tuple[str, ...]
    access: tuple[str, ...]
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    parts: tuple[tuple[str, str], ...]
    torque: tuple[str, ...]
    hints: tuple[str, ...]
    know_how: tuple[str, ...]
    follow_ups: tuple[str, ...]
    hours: str
    disclaimer: str


def kit_shown(figures: Figures, kit: Json) -> KitShown:
    """The kit document (API: `kit/`)."""
    vehicles = kit["vehicles"]
    jobs = [job for vehicle in vehicles for job in vehicle["jobs"]]
    return KitShown(
        cautions=tuple(words.told(each["text"]) for each in kit["cautions"]),
        licensed=tuple(words.told(each["title"]) for each in kit["licensed"]),
        jobs=tuple(_titled(words.told(job["title"]), job["positions"]) for job in jobs),
        access=tuple(words.access(each["unit"]) for vehicle in vehicles for each in vehicle["access"]),
        tools=tuple(words.told(each["what"]) for each in kit["tools"]),
        consumables=tuple(words.told(each["what"]) for each in kit["consumables"]),
        parts=tuple(
            (_titled(words.told(part["title"]), part["positions"]), _range(figures, part["price"]))
            for part in kit["parts"]
        ),
        torque=tuple(_note(note) for job in jobs for note in job["torque"]),
        hints=tuple(dict.fromkeys(words.told(job["torque_hint"]) for job in jobs if job["torque_hint"])),
        know_how=tuple(_note(note) for job in jobs for note in job["know_how"]),
        follow_ups=tuple(_after(figures, each) for vehicle in vehicles for each in vehicle["follow_ups"]),
        hours=figures.hours(kit["hours"]),
        disclaimer=words.told(kit["disclaimer"]),
    )


def _titled(title: str, positions: Sequence[str]) -> str:
    return ", ".join(filter(None, [title, words.places(positions)]))


def _range(figures: Figures, price: Json) -> str:
    low, high = figures.money_of(price["low"]), figures.money_of(price["high"])
    return low if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}


def _note(note: Json) -> str:
    value = "" if note.get("value") is None else f"{note['value']:g} {note.get('unit') or ''}".strip()
    source = f"({note['source']})" if note.get("source") else ""
    return " ".join(filter(None, [note["text"], value, source]))


def _after(figures: Figures, each: Json) -> str:
    if not each["after_km"]:
        return words.told(each["title"])
    told = {"what": words.told(each["title"]), "distance": figures.distance(each["after_km"])}
    return _("%(what)s after %(distance)s") % told
