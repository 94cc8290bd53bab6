"""The life filter, held against Bayes' rule done by hand, against many random lives, and against its promises."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.life_filter import distances_km, residuals_by_life_filter
from inspections.core.looking import seen_chances
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.types import Cells, LifeBook, Looks, Residuals
from tests.inspections.core.mechanics_book import (
    BALL_JOINT,
    BEARING,
    BUSHING,
    DISC,
    HOSE,
    SENSOR,
    SLOTS,
    WATER_PUMP,
    book,
    cells,
    looks,
    looks_of,
    some_cells,
)
from tests.inspections.core.random_lives import random_lives

LIVES = PlausibleLives.of(book())
NEXT_10_000_KM = np.array([10_000.0])


def judged(some: Cells, seen: Looks) -> Residuals:
    return residuals_by_life_filter(book(), some, seen, lives=LIVES)


def failure_chance(slot: int, now_km: float, *seen: tuple[float, int], fitted_km: float = 0.0) -> float:
    one = judged(cells([slot], now_km, fitted_km), looks(*((0, clock, grade) for clock, grade in seen)))
    return float(one.failure_chance_fraction(NEXT_10_000_KM)[0])


def a_fleet(parts: int, seed: int) -> tuple[Cells, Looks]:
    """Parts of every slot with none to six looks, known and unknown fittings, several to a vehicle."""
    rng = np.random.default_rng(seed)
    now = rng.uniform(20_000.0, 400_000.0, parts)
    fitted = np.where(rng.random(parts) < 0.5, np.nan, rng.uniform(0.0, 0.8, parts) * now)
    some = cells(rng.integers(0, SLOTS, parts), now, fitted, vehicle=np.arange(parts) // 3)
    seen = []
    for part in range(parts):
        clocks = np.sort(rng.uniform(0.3, 1.0, rng.integers(0, 7))) * now[part]
        seen += [(part, float(clock), int(rng.choice(4, p=[0.7, 0.15, 0.1, 0.05]))) for clock in clocks]
    return some, looks(*seen)


def same(first: Residuals, second: Residuals) -> bool:
    names = Residuals.__slots__
    return all(np.array_equal(getattr(first, name), getattr(second, name)) for name in names)


def part_of(whole: Residuals, rows: np.ndarray) -> Residuals:
    return Residuals(*(getattr(whole, name)[rows] for name in Residuals.__slots__))


# --- against Bayes' rule


def test_sound_looks_weigh_every_life_by_bayes_rule() -> None:
    """Plain loops over lives, states and looks, each state's chance from the smoothed thresholds."""
    seen = [(40_000.0, 0), (55_000.0, 0), (90_000.0, 0)]
    found = judged(cells([BUSHING], 95_000.0, 10_000.0), looks(*((0, *each) for each in seen)))
    chance = seen_chances()
    weight = np.zeros(360)
    for life in range(360):
        thresholds = LIVES.threshold_km[:, BUSHING, life]
        weight[life] = LIVES.weight[life] * (thresholds[3] > 85_000.0)
        for clock, grade in seen:
            passed = [1.0, *(1.0 / (1.0 + np.exp((c - clock + 10_000.0) / 2_400.0)) for c in thresholds[:3]), 0.0]
            weight[life] *= sum((passed[state] - passed[state + 1]) * chance[state, grade] for state in range(4))
    assert found.weight[0] == pytest.approx(weight / weight.sum(), rel=1e-9)
    assert found.to_failure_km[0] == pytest.approx(np.maximum(LIVES.threshold_km[3, BUSHING] - 85_000.0, 0.0))


def test_findings_mean_what_they_mean_among_many_random_lives() -> None:
    """300,000 lives drawn at random and weighed by hard thresholds, against 360 lives chosen with care."""
    histories = (
        [(110_000.0, 1)],
        [(110_000.0, 2)],
        [(130_000.0, 3)],
        [(97_000.0, 0), (110_000.0, 1)],
        [(97_000.0, 1), (110_000.0, 2)],
        [(97_000.0, 1), (110_000.0, 0)],
        [(84_000.0, 0), (97_000.0, 2), (110_000.0, 3)],
    )
    errors = []
    for slot in (BALL_JOINT, BUSHING, WATER_PUMP, DISC):
        lives = random_lives(book(), slot, 300_000)
        for seen in histories:
            now = seen[-1][0]
            weight = (lives[3] > now).astype(float)
            for clock, grade in seen:
                weight *= seen_chances()[(lives[:3] <= clock).sum(axis=0), grade]
            expected = weight[lives[3] <= now + 10_000.0].sum() / weight.sum()
            errors.append(failure_chance(slot, now, *seen) - expected)
    assert np.sqrt(np.mean(np.square(errors))) < 0.045
    assert np.abs(errors).max() < 0.12


@pytest.mark.parametrize("slot", [BALL_JOINT, HOSE, DISC])
@pytest.mark.parametrize("age_of_life", [0.3, 0.6, 1.0])
def test_sound_parts_fail_as_often_as_among_many_random_lives(slot: int, age_of_life: float) -> None:
    lives, now = random_lives(book(), slot, 300_000), age_of_life * book().life_km[slot]
    weight = (lives[3] > now) * seen_chances()[(lives[:3] <= now).sum(axis=0), 0]
    for horizon, tolerance in ((10_000.0, 0.006), (60_000.0, 0.03), (150_000.0, 0.04)):
        expected = weight[lives[3] <= now + horizon].sum() / weight.sum()
        found = judged(cells([slot], now), looks((0, now, 0))).failure_chance_fraction(np.array([horizon]))
        assert found == pytest.approx(expected, abs=tolerance)


def test_a_hidden_part_of_known_age_fails_as_its_survivors_do() -> None:
    """The survivors of 300,000 random lives of the sensor; nothing can be seen on it."""
    expected = random_lives(book(), SENSOR, 300_000)[3]
    for age, horizon in itertools.product((50_000.0, 250_000.0), (20_000.0, 120_000.0)):
        alive = expected > age
        chance = (expected[alive] <= age + horizon).mean()
        found = judged(cells([SENSOR], age), looks()).failure_chance_fraction(np.array([horizon]))
        assert found == pytest.approx(chance, abs=0.015)


def test_an_as_bought_part_found_bad_means_what_it_means_in_simulated_vehicles() -> None:
    """150,000 simulated vehicles whose bearings were renewed when they failed, looked at once, found major."""
    rng = np.random.default_rng(3)
    lives = random_lives(book(), BEARING, 600_000)
    clock, vehicles = 260_000.0, 150_000
    life, fitted, used = lives[:, :vehicles].copy(), np.zeros(vehicles), vehicles
    while np.any(gone := fitted + life[3] <= clock):
        fitted[gone] += life[3, gone]
        fresh = int(gone.sum())
        life[:, gone] = lives[:, used : used + fresh]
        used += fresh
    state = (life[:3] <= clock - fitted).sum(axis=0)
    major = rng.random(vehicles) < seen_chances()[state, 2]
    expected = (fitted + life[3] <= clock + 10_000.0)[major].mean()
    found = failure_chance(BEARING, clock, (clock, 2), fitted_km=np.nan)
    assert found == pytest.approx(expected, abs=0.08)


# --- promises


@given(seed=st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_weights_add_up_to_one_and_worse_grades_never_come_earlier(seed: int) -> None:
    found = judged(*a_fleet(12, seed))
    assert found.weight.sum(axis=1) == pytest.approx(np.ones(12), abs=1e-12)
    assert np.all(found.weight >= 0.0)
    minor, major, dangerous, failure = distances_km(found)
    assert np.all((minor >= 0.0) & (minor <= major) & (major <= dangerous) & (dangerous <= failure))
    assert np.all(np.isfinite(failure))


def test_neither_order_nor_company_nor_batch_changes_a_digit() -> None:
    some, seen = a_fleet(300, 5)
    whole = judged(some, seen)
    shuffled = np.random.default_rng(1).permutation(300)
    assert same(judged(some_cells(some, shuffled), looks_of(seen, shuffled)), part_of(whole, shuffled))
    for rows in np.array_split(np.arange(300), [1, 50, 178]):
        alone = residuals_by_life_filter(book(), some_cells(some, rows), looks_of(seen, rows))
        assert same(alone, part_of(whole, rows))


@given(seed=st.integers(0, 10_000), factor=st.floats(0.3, 5.0))
@settings(max_examples=10, deadline=None)
def test_miles_give_the_same_chances_as_kilometres(seed: int, factor: float) -> None:
    known, (some, seen) = book(), a_fleet(10, seed)
    other = LifeBook(known.life_km * factor, known.life_cv, known.pf_km * factor, known.km_weight, known.km_per_year)
    moved = Cells(
        some.vehicle,
        some.slot,
        some.fitted_clock_km * factor,
        some.now_clock_km * factor,
        some.clock_km_per_month * factor,
    )
    found = residuals_by_life_filter(other, moved, Looks(seen.cell, seen.clock_km * factor, seen.grade))
    assert found.weight == pytest.approx(judged(some, seen).weight, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("slot", [BALL_JOINT, BUSHING, HOSE, BEARING, WATER_PUMP, DISC])
@pytest.mark.parametrize("fitted", [0.0, np.nan])
def test_a_worse_last_finding_means_a_likelier_failure(slot: int, fitted: float) -> None:
    history = [(80_000.0, 0), (95_000.0, 0)]
    chances = [failure_chance(slot, 110_000.0, *history, (110_000.0, g), fitted_km=fitted) for g in range(4)]
    assert chances == sorted(chances)
    assert chances[3] > 10.0 * chances[0]


def test_a_defect_seen_twice_is_more_certain_than_one_seen_once() -> None:
    once = judged(cells([BUSHING], 110_000.0), looks((0, 110_000.0, 1)))
    twice = judged(cells([BUSHING], 110_000.0), looks((0, 110_000.0, 1), (0, 110_000.0, 1)))
    assert twice.weight[twice.to_minor_km > 0.0].sum() < 0.5 * once.weight[once.to_minor_km > 0.0].sum()


def test_looks_on_the_same_day_may_come_in_any_order() -> None:
    one_way = judged(cells([DISC], 90_000.0), looks((0, 80_000.0, 1), (0, 80_000.0, 2)))
    other_way = judged(cells([DISC], 90_000.0), looks((0, 80_000.0, 2), (0, 80_000.0, 1)))
    assert one_way.weight == pytest.approx(other_way.weight, rel=1e-9)


def test_a_part_driven_on_without_failing_has_less_of_a_worse_state_in_it() -> None:
    """Survival is evidence: the longer a part seen dangerous has lasted, the likelier the look was wrong."""
    waits = [0.0, 20_000.0, 60_000.0]
    found = [judged(cells([BALL_JOINT], 150_000.0 + wait), looks((0, 150_000.0, 3))) for wait in waits]
    seen_right = [float(each.weight[0, each.to_dangerous_km[0] <= 0.0].sum()) for each in found]
    assert seen_right[0] > 0.6
    assert seen_right == sorted(seen_right, reverse=True)


def test_looks_at_the_part_before_say_nothing_of_the_one_fitted_since() -> None:
    renewed = cells([BEARING], 120_000.0, 100_000.0)
    with_old = judged(renewed, looks((0, 90_000.0, 3), (0, 100_000.0, 3), (0, 110_000.0, 0)))
    assert same(with_old, judged(renewed, looks((0, 110_000.0, 0))))


def test_looking_at_a_part_that_shows_nothing_tells_nothing() -> None:
    looked_at = judged(cells([SENSOR], 150_000.0), looks((0, 100_000.0, 0), (0, 150_000.0, 0)))
    assert same(looked_at, judged(cells([SENSOR], 150_000.0), looks()))
    assert np.array_equal(looked_at.to_minor_km, looked_at.to_failure_km)


def test_a_sign_on_a_part_that_should_show_none_is_taken_seriously() -> None:
    quiet = failure_chance(SENSOR, 150_000.0)
    assert failure_chance(SENSOR, 150_000.0, (150_000.0, 2)) > 10.0 * quiet


def test_a_part_older_than_any_life_is_taken_as_bought_at_its_last_look() -> None:
    beyond = judged(cells([DISC], 2_000_000.0), looks((0, 1_900_000.0, 0), (0, 2_000_000.0, 2)))
    bought = judged(cells([DISC], 2_000_000.0, np.nan), looks((0, 2_000_000.0, 2)))
    assert same(beyond, bought)
    assert bought.failure_chance_fraction(NEXT_10_000_KM) > 0.1


def test_a_part_that_outlived_its_last_look_too_is_taken_as_bought_today() -> None:
    beyond = judged(cells([DISC, SENSOR], 3_000_000.0), looks((0, 900_000.0, 1)))
    assert same(beyond, judged(cells([DISC, SENSOR], 3_000_000.0, np.nan), looks()))


def test_thousands_of_odd_looks_neither_underflow_nor_settle_on_nothing() -> None:
    odd = [(0, 60_000.0 + step, 3 * (step % 2)) for step in range(3_000)]
    found = judged(cells([HOSE], 63_000.0), looks(*odd))
    assert np.all(np.isfinite(found.weight))
    assert found.weight.sum() == pytest.approx(1.0)


def test_no_parts_give_no_possibilities() -> None:
    assert judged(cells([], 0.0), looks()).weight.shape == (0, 360)


def test_looks_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="sorted by cell"):
        judged(cells([DISC, DISC], 90_000.0), looks((1, 80_000.0, 0), (0, 80_000.0, 0)))
