"""A short story of a few small clubs: which way the benchmark's figures point, with room for chance.

The figures themselves come from `python -m tests.benchmarks.policy`.
"""

from dataclasses import fields

import numpy as np
import pytest

from tests.benchmarks.policy.figures import Setting, told
from tests.benchmarks.policy.kinds import COUPLINGS, GRADED, HIDDEN, KINDS, MEASURED, OPERATION_HOURS_EUR
from tests.benchmarks.policy.policies import (
    BLIND_ANNUAL,
    CLAIRVOYANT,
    LOOKING,
    LOOKING_ANNUAL,
    PRODUCT,
    PRODUCT_ANNUAL,
    YARDSTICK,
)
from tests.benchmarks.policy.story import Ledger

CLUBS = Setting("short", (201, 202, 203), 14)
LEFT_OUT = Setting("short, 35 % of checks left out", (201, 202, 203), 14, skipped=0.35)
MISLED = Setting("short, book off by two", (201, 202, 203), 14, book_off=True)


def cost(ledger: Ledger) -> float:
    return float(ledger.eur_per_1000_km.mean())


def share(km: np.ndarray, ledger: Ledger) -> float:
    return float(km.sum() / ledger.km.sum())


@pytest.fixture(scope="module")
def yardstick() -> Ledger:
    return told(CLUBS, YARDSTICK)


@pytest.fixture(scope="module")
def product() -> Ledger:
    return told(CLUBS, PRODUCT)


@pytest.mark.slow
def test_the_backlog_saves_a_tenth_of_what_worst_first_costs_with_the_same_yearly_looks(yardstick: Ledger) -> None:
    annual = told(CLUBS, PRODUCT_ANNUAL)
    assert np.array_equal(annual.looks, yardstick.looks)
    assert cost(annual) < 0.90 * cost(yardstick)
    assert annual.failures.sum() < yardstick.failures.sum()


@pytest.mark.slow
def test_with_a_look_every_10_000_km_it_saves_a_sixth_and_halves_the_unsafe_distance(
    yardstick: Ledger, product: Ledger
) -> None:
    assert cost(product) < 0.83 * cost(yardstick)
    assert product.failures.sum() < 0.75 * yardstick.failures.sum()
    assert share(product.unsafe_km, product) < 0.5 * share(yardstick.unsafe_km, yardstick)


@pytest.mark.slow
def test_a_book_off_by_two_does_not_fool_it(yardstick: Ledger) -> None:
    assert cost(told(MISLED, PRODUCT)) < 0.88 * cost(yardstick)


@pytest.mark.slow
def test_where_checks_are_left_out_a_look_beats_renewing_on_a_guess_and_both_beat_waiting_for_the_next_one() -> None:
    gated, blindly, looking = (told(LEFT_OUT, policy) for policy in (PRODUCT_ANNUAL, BLIND_ANNUAL, LOOKING_ANNUAL))
    assert cost(looking) < cost(blindly) < cost(gated)
    assert cost(looking) < 0.88 * cost(gated)
    assert share(looking.unsafe_km, looking) < 0.5 * share(gated.unsafe_km, gated)


@pytest.mark.slow
def test_where_all_is_seen_in_time_no_look_is_asked_for(product: Ledger) -> None:
    looking = told(CLUBS, LOOKING)
    assert looking.extra_looks.sum() == 0
    assert np.array_equal(looking.eur_per_1000_km, product.eur_per_1000_km)


@pytest.mark.slow
def test_nobody_beats_the_clairvoyant(yardstick: Ledger, product: Ledger) -> None:
    clairvoyant = told(CLUBS, CLAIRVOYANT)
    assert (clairvoyant.eur_per_1000_km < product.eur_per_1000_km).all()
    assert (clairvoyant.eur_per_1000_km < yardstick.eur_per_1000_km).all()


@pytest.mark.slow
def test_a_fleet_lives_through_the_same_whatever_other_fleets_are_told_with_it(product: Ledger) -> None:
    alone = told(Setting("alone", CLUBS.seeds[1:2], CLUBS.cars), PRODUCT)
    for each in fields(Ledger):
        assert getattr(alone, each.name)[0] == pytest.approx(getattr(product, each.name)[1], rel=1e-9), each.name


def test_the_invented_car_has_the_parts_and_the_ties_that_are_stated() -> None:
    counts = [sum(len(kind.positions) for kind in group) for group in (MEASURED, GRADED, HIDDEN)]
    assert counts == [9, 48, 10]
    assert len(OPERATION_HOURS_EUR) == 19
    assert len(COUPLINGS) == 17
    places = {(kind.key, position) for kind in KINDS for position in kind.positions}
    assert len(places) == 67
    assert {end for each in COUPLINGS for end in (each.source, each.target)} <= places
