"""How fast lives are fitted, beside the plainest solution that could do the narrowest job.

    python -m tests.benchmarks.learning.speed

The plain one solves the profile equation of one right-censored group for shape and scale and nothing more: no checks,
no variances, no likelihood, no groups. Ratios are medians over data sets, the two ways taking turns.

Targets: at most 1.5 times the plain one at 1,000 records; 1,000 groups of 40 within 50 ms; time in proportion to the
records.
"""

from collections.abc import Callable
from time import perf_counter

import numpy as np

from inspections.core.types import BoolArray, FloatArray
from inspections.core.weibull import Ages, Prior, fit_weibull

DATA_SETS = 15


def plain_profile_newton(age: FloatArray, failed: BoolArray) -> tuple[float, float]:
    """Shape and scale by Newton's method in the shape."""
    top = age.max()
    x = np.log(age / top)
    square = x * x
    mean = x[failed].mean()
    shape = 1.2 / max(float(x[failed].std()), 1e-3)
    for _ in range(50):
        grown = np.exp(shape * x)
        total = grown.sum()
        centre = (grown @ x) / total
        excess = 1.0 / shape + mean - centre
        step = excess / (1.0 / shape**2 + (grown @ square) / total - centre * centre)
        shape = shape + step if shape + step > 0.0 else 0.5 * shape
        if abs(step) < 1e-12 * shape:
            break
    return shape, float(top * (np.exp(shape * x).sum() / failed.sum()) ** (1.0 / shape))


def right_censored(seed: int, records: int) -> tuple[FloatArray, BoolArray]:
    """Lives of shape 3, about half of them cut short."""
    rng = np.random.default_rng(seed)
    life, ended = 2e5 * rng.weibull(3.0, records), rng.uniform(0.0, 3e5, records)
    return np.minimum(life, ended), life <= ended


def seconds(work: Callable[[], object], times: int) -> float:
    """Mean time of one go."""
    start = perf_counter()
    for _ in range(times):
        work()
    return (perf_counter() - start) / times


def against_plain(records: int, times: int) -> tuple[float, float, float]:
    """Median ratio, and median times of the plain and of our fit, in ms."""
    plain, ours = [], []
    for seed in range(DATA_SETS):
        age, failed = right_censored(seed, records)
        plain.append(seconds(lambda a=age, f=failed: plain_profile_newton(a, f), times))
        ours.append(seconds(lambda a=age, f=failed: fit_weibull(Ages.right_censored(a, f)), times))
    ratio = float(np.median(np.array(ours) / np.array(plain)))
    return ratio, 1e3 * float(np.median(plain)), 1e3 * float(np.median(ours))


def many_groups(groups: int, size: int, interval: bool, unequal: bool) -> tuple[float, float]:
    """Least time in ms of fitting all groups at once, by maximum likelihood and under a prior."""
    rng = np.random.default_rng(1)
    sizes = rng.integers(size // 2, 3 * size // 2, groups) if unequal else np.full(groups, size)
    group = np.repeat(np.arange(groups), sizes)
    age, failed = right_censored(2, len(group))
    high = np.where(failed, age if not interval else 1.1 * age, np.inf)
    ages = Ages(0.9 * age if interval else age, high, group)
    prior = Prior.around(np.full(groups, 2e5))
    alone = min(seconds(lambda: fit_weibull(ages, groups), 3) for _ in range(3))
    believing = min(seconds(lambda: fit_weibull(ages, groups, prior), 3) for _ in range(3))
    return 1e3 * alone, 1e3 * believing


def main() -> None:
    for records, times in ((40, 200), (1_000, 200), (10_000, 30), (100_000, 3)):
        ratio, plain, ours = against_plain(records, times)
        print(f"{records:7} records: plain {plain:7.3f} ms  ours {ours:7.3f} ms  ratio {ratio:.2f}")
    for interval in (False, True):
        for unequal in (False, True):
            alone, believing = many_groups(1_000, 40, interval, unequal)
            what = ("spans" if interval else "known ages") + (", unequal groups" if unequal else "")
            print(f"1,000 groups of 40, {what}: likelihood {alone:.1f} ms, with a prior {believing:.1f} ms")


if __name__ == "__main__":
    main()
