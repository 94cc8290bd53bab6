"""Readings of the odometer and fills of fuel, as a page lists them."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext_lazy as _

from fleetcare.fleet.words import ReadingSource
from fleetcare.portal.web.presenters.figures import Day, Figures

if TYPE_CHECKING:
    from fleetcare.fleet.models import FuelFill, OdometerReading

_SOURCES: Mapping[str, Any] = {
    ReadingSource.PERSON: _("read by hand"),
    ReadingSource.INSPECTION: _("with an inspection"),
    ReadingSource.FUEL: _("with a fill"),
    ReadingSource.JOB: _("with a job or a service"),
    ReadingSource.IMPORT: _("imported"),
}
_STANDS_ALONE = {ReadingSource.PERSON, ReadingSource.IMPORT}


@dataclass(frozen=True, slots=True)
class ReadingShown:
    """One reading."""

    id: uuid.UUID
    on: Day | None
    shown: str
    in_all: str
    """How far the vehicle had gone, where that is not what the odometer showed."""
    source: str
    replaced: bool
    stands_alone: bool
    """It may be corrected by itself; the others go with what they came with."""


@dataclass(frozen=True, slots=True)
class FillShown:
    """One fill."""

    id: uuid.UUID
    on: Day | None
    litres: str
    at: str
    paid: str
    full: bool
    missed_before: bool
    note: str


def readings_shown(figures: Figures, rows: "Iterable[OdometerReading]") -> list[ReadingShown]:
    """Readings in the order handed in."""
    return [
        ReadingShown(
            id=row.pk,
            on=figures.day(row.read_on),
            shown=figures.distance(row.shown_km),
            in_all="" if row.total_km == row.shown_km else figures.distance(row.total_km),
            source=str(_SOURCES[row.source]),
            replaced=row.replacement,
            stands_alone=row.source in _STANDS_ALONE,
        )
        for row in rows
    ]


def fills_shown(figures: Figures, rows: "Iterable[FuelFill]") -> list[FillShown]:
    """Fills in the order handed in."""
    return [
        FillShown(
            id=row.pk,
            on=figures.day(row.filled_on),
            litres=figures.measured(float(row.litres), "L"),
            at="" if row.reading is None else figures.distance(row.reading.shown_km),
            paid="" if row.price_minor is None else figures.money(row.price_minor),
            full=row.full,
            missed_before=row.missed_before,
            note=row.note,
        )
        for row in rows
    ]
