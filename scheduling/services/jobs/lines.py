"""The lines of a closed job: what was bought, what it cost, which part it became, and its warranty."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from fleetcare.fleet.access import Access
from fleetcare.kernel.errors import Fault
from inspections.models import FittedPart
from inspections.services.parts import Renewal
from scheduling.models import Job, JobPart


@dataclass(frozen=True, slots=True)
class PartLine:
    """A line of what a job took; `price_minor` is that of one. `fitted`: this is the part that the job renews."""

    description: str
    part_number: str = ""
    quantity: Decimal = Decimal(1)
    price_minor: int = 0
    warranty_until: date | None = None
    warranty_km: int | None = None
    position: str = ""
    fitted: bool = False

    @property
    def cost_minor(self) -> int:
        """Of the whole line, rounded once, half up."""
        return int((self.quantity * self.price_minor).to_integral_value(ROUND_HALF_UP))


def cost_of(lines: Sequence[PartLine]) -> int:
    """Of all lines, in minor units."""
    return sum(line.cost_minor for line in lines)


def line_faults(job: Job, lines: Sequence[PartLine], done_on: date) -> list[Fault]:
    """Positions that the job does not have, and warranties that end before they begin."""
    faults = []
    for index, line in enumerate(lines):
        if line.position and line.position not in job.positions:
            choices = ", ".join(job.positions) or "none: leave it out"
            sentence = f"This job has these positions: {choices}."
            faults.append(Fault(f"/parts/{index}/position", "unknown-position", sentence))
        if line.warranty_until is not None and line.warranty_until < done_on:
            sentence = "The warranty would have ended before the part was fitted."
            faults.append(Fault(f"/parts/{index}/warranty_until", "before-fitting", sentence))
    return faults


def renewal_at(position: str, lines: Sequence[PartLine]) -> Renewal:
    """What is fitted at a position, in the words of its line."""
    line = _line_at(position, lines)
    return Renewal(position, line.description, line.part_number) if line else Renewal(position)


def _line_at(position: str, lines: Sequence[PartLine]) -> PartLine | None:
    """The line that names the position, or else the one said to be the part, or else the first without a position."""
    named = [line for line in lines if position and line.position == position]
    general = sorted((line for line in lines if not line.position), key=lambda line: not line.fitted)
    return next(iter(named + general), None)


def store_lines(access: Access, job: Job, lines: Sequence[PartLine], fitted: Sequence[FittedPart]) -> None:
    """Puts the lines on record, each with the part it became; one statement."""
    became: dict[int, FittedPart] = {}
    for part in fitted:
        line = _line_at(part.position, lines)
        if line is not None:
            became.setdefault(id(line), part)
    JobPart.objects.bulk_create(
        JobPart(
            fleet=access.fleet,
            job=job,
            line=number,
            description=line.description,
            part_number=line.part_number,
            quantity=line.quantity,
            price_minor=line.price_minor,
            warranty_until=line.warranty_until,
            warranty_km=line.warranty_km,
            position=line.position,
            fitted_part=became.get(id(line)),
        )
        for number, line in enumerate(lines)
    )
