"""The benchmark's adapter stands for the product: told the same, both say the same."""

import pytest

from tests.benchmarks.policy.same_choices import CARS, MONTHS, TwoTellings
from tests.factories import FleetFactory


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.django_db
def test_the_adapter_and_the_use_cases_rank_the_same_jobs_in_the_same_order_for_two_years() -> None:
    household = TwoTellings(FleetFactory(kind="workshop", labour_per_hour_minor=5_000), seed=5)
    months = household.told()
    assert len(months) == CARS * MONTHS
    for month in months:
        assert month.by_adapter == month.by_use_cases, (month.on, month.car)
    assert household.jobs_done >= 30
    assert sum(len(month.by_use_cases) for month in months) >= 500
