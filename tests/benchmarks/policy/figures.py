"""Settings, policies and what came of them: costs against the yardstick, paired by fleet."""

from collections.abc import Sequence
from dataclasses import dataclass
from time import process_time

import numpy as np
from scipy.special import stdtrit

from inspections.core.types import FloatArray
from tests.benchmarks.policy.policies import YARDSTICK, Policy
from tests.benchmarks.policy.purse import BUDGET_EUR
from tests.benchmarks.policy.story import Ledger, Story
from tests.benchmarks.policy.trade import Trade, trade
from tests.benchmarks.policy.truth import draw_fleet

TUNING = (1, 2, 3)
"""Seeds that the world and its prices were set by; no figure is quoted from them."""
CLUBS = tuple(range(11, 21))
HOUSEHOLDS = tuple(range(101, 141))
WORKSHOPS = (31, 32, 33)


@dataclass(frozen=True, slots=True)
class Setting:
    """Which fleets, with how much money, and how wrong the planner's book is. One seed is one fleet."""

    name: str
    seeds: tuple[int, ...]
    cars: int
    budget: str = "medium"
    book_off: bool = False
    debt: bool = False
    skipped: float = 0.0
    """Share of the checks that are left out at every look."""


@dataclass(frozen=True, slots=True)
class Change:
    """Relative change of cost against the yardstick with its 95 % interval, as fractions."""

    mean: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{100 * self.mean:+.1f} % [{100 * self.low:.1f}, {100 * self.high:.1f}]"


def change(eur: FloatArray, yardstick_eur: FloatArray) -> Change:
    """Student's t on the logarithms of the ratios, fleet by fleet, turned back into a change."""
    ratio = np.log(eur / yardstick_eur)
    half = float(stdtrit(len(ratio) - 1, 0.975) * ratio.std(ddof=1) / np.sqrt(len(ratio)))
    mean = float(ratio.mean())
    return Change(*(float(np.expm1(each)) for each in (mean, mean - half, mean + half)))


def told(setting: Setting, policy: Policy) -> Ledger:
    """What a policy comes to in a setting, fleet by fleet."""
    true = trade()
    fleets = [draw_fleet(true, setting.cars, seed) for seed in setting.seeds]
    known = true.known()
    believed = [misled(true, seed) if setting.book_off else known for seed in setting.seeds]
    together = not setting.book_off and not policy.learns
    groups = [(known, fleets)] if together else [(book, [each]) for book, each in zip(believed, fleets, strict=True)]
    eur = BUDGET_EUR[setting.budget]
    more = {"debt": setting.debt, "skipped": setting.skipped}
    return Ledger.joined([Story(true, book, some, policy, eur, **more).told() for book, some in groups])


def misled(true: Trade, seed: int) -> Trade:
    """A planner whose book has twice or half the life, and distance from sign to failure, of each kind of part."""
    kinds = int(true.kind_of.max()) + 1
    factor = 2.0 ** np.random.default_rng([seed, 2]).choice([-1.0, 1.0], kinds)[true.kind_of]
    return true.believing(factor * true.book.life_km, factor * true.book.pf_km)


def rows(setting: Setting, policies: Sequence[Policy]) -> list[dict[str, object]]:
    """One row a policy, the yardstick first."""
    yardstick = told(setting, YARDSTICK)
    found = [_row(setting, YARDSTICK, yardstick, None, 0.0)]
    for policy in policies:
        begin = process_time()
        ledger = told(setting, policy)
        found.append(_row(setting, policy, ledger, yardstick, process_time() - begin))
    return found


def _row(
    setting: Setting, policy: Policy, ledger: Ledger, yardstick: Ledger | None, seconds: float
) -> dict[str, object]:
    against = None if yardstick is None else change(ledger.eur_per_1000_km, yardstick.eur_per_1000_km)
    per_1000_km = 1000.0 / ledger.km
    return {
        "setting": setting.name,
        "policy": policy.name,
        "eur_per_1000_km": _mean(ledger.eur_per_1000_km),
        "change": "" if against is None else str(against),
        "failures_per_100_000_km": _mean(100.0 * ledger.failures * per_1000_km, 2),
        "tows_per_100_000_km": _mean(100.0 * ledger.tows * per_1000_km, 2),
        "unsafe_km_percent": _mean(100.0 * ledger.unsafe_km / ledger.km),
        "any_dangerous_km_percent": _mean(100.0 * ledger.any_dangerous_km / ledger.km),
        "extra_looks_per_car": round(float(ledger.extra_looks.sum() / (setting.cars * len(ledger.km))), 1),
        "looks_per_car": round(float(ledger.looks.sum() / (setting.cars * len(ledger.km))), 1),
        "parts_of_cost": {
            name: _mean(getattr(ledger, name) * per_1000_km)
            for name in ("planned", "unplanned", "inspections", "exposure", "consumed")
        },
        "cpu_seconds": round(seconds, 1),
    }


def _mean(values: FloatArray, digits: int = 1) -> float:
    return round(float(values.mean()), digits)
