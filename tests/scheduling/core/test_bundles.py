"""Bundles, held against trying every set of jobs."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.core.backlog import Ranking, rank_jobs
from scheduling.core.bundles import bundles
from scheduling.core.picking import NOT_WORTH
from scheduling.core.types import JobOption, SharedWork
from tests.scheduling.core.given import RATE, cells, certain, costs, option, waited

FAILS_SOON = (0.0, 1_000.0, 2_000.0)


def ranking_of(options: list[JobOption], failure: list[float]) -> Ranking:
    """Parts that all fail within three months; the planned job's share is made so that failing costs what is given."""
    count = len(failure)
    prices = costs([1e9] * count, failure)
    return rank_jobs(
        options,
        cells(*([0] * count)),
        np.full(count, 2),
        waited(certain(*([FAILS_SOON] * count))),
        prices,
        np.zeros(count),
        np.array([RATE]),
    )


LOWERED = SharedWork("subframe-lowered", 2.0)


def test_two_jobs_that_pay_only_together_are_suggested_together() -> None:
    """Each saves 4,000 without the access of 12,000 that both need, a third nothing to speak of."""
    options = [option(0, cell, access=(LOWERED,), key=f"part-{cell}.replace") for cell in range(4)]
    ranking = ranking_of(options, [23_000.0, 23_000.0, 23_000.0, 15_000.0])
    assert ranking.of(0).items == ()
    (bundle,) = bundles(ranking, 0)
    assert bundle.options == (0, 1, 2)
    assert bundle.shared == ("subframe-lowered",)
    assert bundle.saving_minor == 3 * 7_000 - 12_000
    assert bundle.cost_minor == 3 * 16_000 + 12_000


def test_jobs_that_share_nothing_are_no_bundle() -> None:
    options = [option(0, cell, access=(SharedWork(f"own-{cell}", 2.0),)) for cell in range(2)]
    assert bundles(ranking_of(options, [23_000.0, 23_000.0]), 0) == ()


def test_of_alternatives_for_one_part_a_bundle_takes_one() -> None:
    options = [option(0, 0, access=(LOWERED,)), option(0, 0, access=(LOWERED,)), option(0, 1, access=(LOWERED,))]
    (bundle,) = bundles(ranking_of(options, [23_000.0, 23_000.0]), 0)
    assert bundle.options == (0, 2)
    assert bundle.saving_minor == 2 * 7_000 - 12_000


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 100_000))
def test_no_set_of_jobs_saves_more_than_the_bundles_together(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = 7
    units = [SharedWork(f"access-{each}", float(rng.uniform(0.5, 4.0))) for each in range(4)]
    options = [
        option(0, cell, access=tuple(units[each] for each in rng.choice(4, int(rng.integers(1, 4)), replace=False)))
        for cell in range(count)
    ]
    ranking = ranking_of(options, rng.uniform(14_000.0, 40_000.0, count).tolist())
    waiting_jobs = np.flatnonzero(ranking.picks.round == NOT_WORTH).tolist()
    opened = {
        ranking.table.unit_key[unit]
        for job, unit in zip(ranking.table.unit_job, ranking.table.unit, strict=True)
        if ranking.picks.round[job] >= 0
    }

    def saving(jobs: tuple[int, ...]) -> float:
        keys = {work for job in jobs for work in options[job].work.access if work.key not in opened}
        single = sum(float(ranking.priced.waiting_minor[job]) - 16_000.0 for job in jobs)
        return single - sum(work.hours * RATE for work in keys)

    sets = [jobs for size in range(count + 1) for jobs in combinations(waiting_jobs, size)]
    most = max(saving(jobs) for jobs in sets)
    found = bundles(ranking, 0)
    assert sum(bundle.saving_minor for bundle in found) == pytest.approx(most, abs=len(found) + 1)
    for bundle in found:
        assert bundle.saving_minor == pytest.approx(saving(bundle.options), abs=1)
        assert len(bundle.options) > 1
