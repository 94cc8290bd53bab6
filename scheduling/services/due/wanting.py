"""An occurrence of something due, as whatever wants it says it."""

from dataclasses import dataclass
from datetime import date

from scheduling.words import DueKind

SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class Wanted:
    """An occurrence that ought to be on record, and what makes it fall due."""

    vehicle: int
    """Row of the batch."""
    kind: DueKind
    source: str
    period: str
    what: str
    part_key: str = ""
    position: str = ""
    safety: bool = False
    lead_days: int = SOON_DAYS
    limit_on: date | None = None
    due_total_km: float | None = None
    band: tuple[date | None, date | None, date | None] | None = None
    """Early, expected and late day where the judge forecasts it itself, instead of from a distance."""
