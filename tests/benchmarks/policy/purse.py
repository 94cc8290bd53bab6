"""Money and hours of each fleet, month by month."""

import numpy as np

from inspections.core.types import FloatArray, IntArray

BUDGET_EUR = {"tight": 80.0, "medium": 120.0, "loose": 200.0}
"""A car and month."""
EUR_PER_HOUR = 18.0
CARRIED_MONTHS = 12
SURPRISE_SHARE = 0.5
"""Of a bill for a failure, what the pot has to bear."""


class Purses:
    """One pot a fleet (F,); money is carried over for up to twelve months, hours are not.

    What an empty pot cannot bear is borne elsewhere, unless `debt` is true.
    """

    def __init__(self, cars: IntArray, eur_per_car: float, *, debt: bool = False) -> None:
        self.debt = debt
        self.monthly_eur = eur_per_car * cars
        self.eur: FloatArray = np.zeros(len(cars))
        self.hours: FloatArray = np.zeros(len(cars))

    def next_month(self) -> None:
        """Pays in a month's money and hours."""
        self.eur = np.minimum(self.eur + self.monthly_eur, CARRIED_MONTHS * self.monthly_eur)
        self.hours = self.monthly_eur / EUR_PER_HOUR

    def pay(self, fleet: IntArray, eur: FloatArray, hours: FloatArray | float = 0.0) -> None:
        """Takes what must be paid."""
        np.subtract.at(self.eur, fleet, eur)
        np.subtract.at(self.hours, fleet, hours)
        if not self.debt:
            self.eur = np.maximum(self.eur, 0.0)

    def can_pay(self, fleet: int, eur: float, hours: float) -> bool:
        """Whether a fleet can afford a job now."""
        return bool(eur <= self.eur[fleet] and hours <= self.hours[fleet])
