"""What jobs of the catalogue usually take in a fleet, as the lines of one estimate."""

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

from fleetcare.kernel.money import rounded_minor
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import PriceBook


class UsualPrices:
    """Prices jobs line by line. What has to be taken apart or done afterwards for several is charged at the first."""

    def __init__(self, prices: PriceBook) -> None:
        self._prices = prices
        self._charged: set[str] = set()

    def of(self, job_key: str, positions: Sequence[str], hours: Decimal | None) -> tuple[Decimal, int, int]:
        """Hours, parts and labour; `hours` where somebody said them, all of the job's."""
        catalogue = default_catalogue()
        figures, entry = self._prices.of(catalogue, job_key), catalogue.jobs[job_key]
        count = max(len(positions), 1) if entry.job.scope == "position" else 1
        access, follow_ups = self._shared(job_key, positions)
        after = [catalogue.follow_ups[key] for key in follow_ups]
        parts_minor = count * figures.parts_minor.likely + sum(each.eur for each in after) * self._prices.minor_per_euro
        if hours is None:
            taken = count * figures.hours.likely + catalogue.access_hours(access) + sum(each.hours for each in after)
            hours = Decimal(repr(taken)).quantize(Decimal("0.01"), ROUND_HALF_UP)
        return hours, rounded_minor(parts_minor), rounded_minor(float(hours) * figures.minor_per_hour)

    def charge(self, job_key: str, positions: Sequence[str]) -> None:
        """From here on what this job shares with others is paid."""
        access, follow_ups = self._shared(job_key, positions)
        self._charged.update(access, follow_ups)

    def _shared(self, job_key: str, positions: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Access and follow-ups that are not charged yet."""
        catalogue = default_catalogue()
        units = [unit for place in positions or ("",) for unit in catalogue.access_units(job_key, place)]
        access = tuple(unit for unit in dict.fromkeys(units) if unit not in self._charged)
        after = tuple(key for key in catalogue.jobs[job_key].job.follow_ups if key not in self._charged)
        return access, after
