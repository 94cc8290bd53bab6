"""Parts on record in words: what is fitted since when, and how long those before it lasted."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from inspections.words import Removal

if TYPE_CHECKING:
    from inspections.models import FittedPart

REMOVALS: Mapping[str, Any] = {
    Removal.FAILED: _("it failed"),
    Removal.WORN_OUT: _("it was worn out"),
    Removal.RENEWED_EARLY: _("renewed before its time"),
    Removal.UNKNOWN: _("nobody knows why"),
}


@dataclass(frozen=True, slots=True)
class PartBefore:
    """One that came off."""

    fitted: Day | None
    removed: Day | None
    lasted: str
    why: str
    what: str


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part at one place; `fitted` is empty for one as bought."""

    key: str
    position: str
    system: str
    title: str
    fitted: Day | None
    at: str
    what: str
    """In the words of whoever bought it, with its number."""
    before: tuple[PartBefore, ...]


def parts_shown(figures: Figures, rows: "Iterable[FittedPart]") -> list[PartShown]:
    """Parts by system and name, each with those before it, the latest first."""
    by_place: dict[tuple[str, str], list[FittedPart]] = {}
    for row in rows:
        by_place.setdefault((row.part_key, row.position), []).append(row)
    order = {key: number for number, key in enumerate(words.catalogue().parts)}
    places = sorted(by_place, key=lambda place: (order.get(place[0], len(order)), place))
    return [_part(figures, key, position, by_place[key, position]) for key, position in places]


def _part(figures: Figures, key: str, position: str, rows: "Sequence[FittedPart]") -> PartShown:
    found = words.catalogue().parts.get(key)
    now = next((row for row in rows if row.removed_on is None), None)
    gone = sorted((row for row in rows if row.removed_on), key=lambda row: row.removed_on or date.min, reverse=True)
    km = now.fitted_total_km if now else None
    return PartShown(
        key=key,
        position=position,
        system=words.system(words.catalogue().system_of_part.get(key, "")),
        title=words.at_place(found.title if found else key, words.place(position)),
        fitted=figures.day(now.fitted_on) if now else None,
        at="" if km is None else figures.distance(km),
        what=_bought(now) if now else "",
        before=tuple(_before(figures, row) for row in gone),
    )


def _bought(row: "FittedPart") -> str:
    return ", ".join(filter(None, (row.description, row.part_number)))


def _before(figures: Figures, row: "FittedPart") -> PartBefore:
    return PartBefore(
        fitted=figures.day(row.fitted_on),
        removed=figures.day(row.removed_on),
        lasted=_lasted(figures, row),
        why=str(REMOVALS.get(row.removal, row.removal)),
        what=_bought(row),
    )


def _lasted(figures: Figures, row: "FittedPart") -> str:
    """How far it went; empty where its beginning or its end is not known."""
    if row.fitted_total_km is None or row.removed_total_km is None:
        return ""
    return gettext("lasted %(distance)s") % {"distance": figures.distance(row.removed_total_km - row.fitted_total_km)}


def renewed_last(figures: Figures, rows: "Iterable[FittedPart]", most: int) -> list[PartShown]:
    """The parts fitted last, the latest first, each with those before it."""
    listed = list(rows)
    now = [row for row in listed if row.removed_on is None and row.fitted_on is not None]
    now.sort(key=lambda row: (row.fitted_on or date.min, row.part_key, row.position), reverse=True)
    by_place: dict[tuple[str, str], list[FittedPart]] = {(row.part_key, row.position): [] for row in now[:most]}
    for row in listed:
        by_place.get((row.part_key, row.position), []).append(row)
    return [_part(figures, key, position, rows) for (key, position), rows in by_place.items()]
