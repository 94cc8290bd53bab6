"""What the vehicles burn a year, from recorded fills where there are some."""

from datetime import timedelta

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import FuelFill
from fleetcare.kernel.errors import InvalidInput
from inspections.services.fuel import fuel_use
from inspections.services.history import Batch
from scheduling.core.keep_or_replace import Span
from scheduling.services.keep_or_replace.asked import KeepAsk, ReplaceAsk, Term

_PRICED = ("filled_on", "litres", "price_minor")
FILLS_LAST_DAYS = 365
"""Prices of fuel older than this count only where there is none younger."""


class Fuel:
    """What the one vehicle of a batch burns, and what a litre costs; two queries."""

    def __init__(self, access: Access, batch: Batch, price_minor: float | None) -> None:
        self.km = float(batch.km_per_year[0])
        intervals = fuel_use(access.fleet, batch.vehicles).intervals
        distance = float(intervals.distance_km.sum())
        self.litres_per_100_km = 100.0 * float(intervals.litres.sum()) / distance if distance else None
        self.fills = len(intervals.vehicle)
        paid = _price_per_litre(access, batch)
        self.price = paid if price_minor is None else price_minor
        self.price_source = "what the fills cost" if price_minor is None else "the price you say"

    def keep(self, ask: KeepAsk) -> Term:
        """Of this vehicle. Raises InvalidInput where it is neither said nor on record."""
        if ask.fuel_a_year is not None:
            return Term(ask.fuel_a_year, "as you say")
        if self.litres_per_100_km is None:
            sentence = "No full fills are on record; say what its fuel (or current) costs a year."
            raise InvalidInput.at("/keep/fuel_per_year", "required", sentence)
        what = f"{self.litres_per_100_km:.2f} litres per 100 km over {self.fills} full tanks"
        return self._burnt(self.litres_per_100_km, what, "/fuel_price")

    def replace(self, ask: ReplaceAsk) -> Term:
        """Of the other one."""
        if ask.fuel_a_year is not None:
            return Term(ask.fuel_a_year, "as you say")
        if ask.litres_per_100_km is None:
            sentence = "Say what its fuel (or current) costs a year, or its litres_per_100_km."
            raise InvalidInput.at("/replace/fuel_per_year", "required", sentence)
        return self._burnt(
            ask.litres_per_100_km, f"{ask.litres_per_100_km:g} litres per 100 km as you say", "/fuel_price"
        )

    def _burnt(self, litres_per_100_km: float, what: str, pointer: str) -> Term:
        if self.price is None:
            sentence = "No fill on record says what it cost; say what a litre costs."
            raise InvalidInput.at(pointer, "required", sentence)
        # At its pace of today: driving more or less raises or lowers both vehicles alike.
        yearly = self.km / 100.0 * litres_per_100_km * self.price
        return Term(Span.exactly(yearly), f"{what}, {self.km:,.0f} km a year, {self.price_source}")


def _price_per_litre(access: Access, batch: Batch) -> float | None:
    """Minor units, of the last year's fills, else of all; None where none says."""
    rows = FuelFill.objects.within(access.fleet).filter(vehicle__in=batch.vehicles, price_minor__isnull=False)
    fills = [(on, float(litres), float(paid or 0)) for on, litres, paid in rows.values_list(*_PRICED)]
    late = [fill for fill in fills if fill[0] >= batch.on - timedelta(days=FILLS_LAST_DAYS)]
    counted = late or fills
    return sum(paid for _, _, paid in counted) / sum(litres for _, litres, _ in counted) if counted else None
