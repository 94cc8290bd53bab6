"""The backlog, held against a greedy written out by hand and against cases whose answer is plain."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetcare.kernel.grades import Grade
from inspections.core.types import CostBook
from scheduling.core.backlog import Ranking, candidates, rank_jobs
from scheduling.core.types import Backlog, BacklogItem, JobOption, SharedWork
from tests.scheduling.core.given import (
    ALIGNMENT,
    RATE,
    WHEEL,
    cells,
    certain,
    costs,
    option,
    uncertain,
    waited,
)

NO_CREDIT = 0.0


def ranked(
    options: list[JobOption],
    lives: object,
    prices: CostBook,
    *,
    grades: list[int],
    vehicles: list[int] | None = None,
    credit: float = NO_CREDIT,
    unseen: list[bool] | None = None,
) -> Ranking:
    count = len(grades)
    vehicle = vehicles or [0] * count
    return rank_jobs(
        options,
        cells(*vehicle),
        np.array(grades),
        waited(lives),  # type: ignore[arg-type]
        prices,
        np.full(count, credit),
        np.full(max(vehicle) + 1, RATE),
        None if unseen is None else np.array(unseen),
    )


FAILS_SOON = (0.0, 1_000.0, 2_000.0)
LASTS = (80_000.0, 90_000.0, 100_000.0)


def one_job(life: tuple[float, float, float], failure: float, credit: float = NO_CREDIT) -> Backlog:
    prices = costs([16_000.0], [failure])
    return ranked([option(0, 0)], certain(life), prices, grades=[Grade.MAJOR], credit=credit).of(0)


def test_a_part_about_to_fail_dearly_is_worth_doing_now() -> None:
    (item,) = one_job(FAILS_SOON, failure=96_000.0).items
    assert item.cost_now_minor == 16_000
    assert item.cost_of_waiting_minor == 80_000
    assert item.worth_per_cost == pytest.approx(5.0)
    assert item.failure_chance_fraction == 1.0
    assert item.do_before_months is None


def test_a_part_with_life_left_can_wait_until_just_before_it_fails() -> None:
    """Fails at 30 months; each km still driven is worth something: the longest wait of the grid before is 24."""
    backlog = one_job((25_000.0, 29_000.0, 30_000.0), failure=500_000.0, credit=0.1)
    (item,) = backlog.can_wait
    assert backlog.items == ()
    assert (item.best_wait, item.do_before_months) == ("24-months", 24)
    assert item.terms.renewal_credit_minor == -2_400
    assert item.cost_of_waiting_minor == -2_400


def test_a_cheap_failure_is_waited_for() -> None:
    (item,) = one_job(LASTS, failure=16_500.0, credit=0.2).can_wait
    assert item.best_wait == "until-failure"
    assert [reason.code for reason in item.reasons][:2] == ["can-wait-months", "run-to-failure"]


def test_exposure_in_bad_states_speaks_for_doing_it_now() -> None:
    prices = costs([16_000.0], [16_000.0], major=0.5, dangerous=5.0)
    lives = certain((0.0, 1_000.0, 200_000.0))
    (item,) = ranked([option(0, 0)], lives, prices, grades=[Grade.MAJOR], credit=0.01).of(0).items
    assert item.terms.major_minor == 500
    assert item.terms.danger_minor == 5 * 2_000
    assert item.best_wait == "3-months"


def test_the_terms_of_every_job_add_up_to_its_rank() -> None:
    world = World.of(17)
    for vehicle in range(world.vehicles):
        backlog = world.ranking().of(vehicle)
        for item in backlog.items + backlog.can_wait:
            assert item.cost_now_minor + item.cost_of_waiting_minor == item.terms.total_minor
            assert item.worth_per_cost == pytest.approx(item.cost_of_waiting_minor / item.cost_now_minor, abs=1e-3)


def test_access_that_two_jobs_need_is_paid_once() -> None:
    options = [
        option(0, 0, access=(WHEEL,), follow_ups=(ALIGNMENT,), key="arm.replace"),
        option(0, 1, access=(WHEEL,), follow_ups=(ALIGNMENT,), key="joint.replace"),
    ]
    prices = costs([16_000.0] * 2, [200_000.0, 150_000.0])
    backlog = ranked(options, certain(FAILS_SOON, FAILS_SOON), prices, grades=[2, 2]).of(0)
    first, second = backlog.items
    assert first.cost_now_minor == 10_000 + 6_000 + 3_000 + 3_000 + 7_000
    assert second.cost_now_minor == 10_000 + 6_000
    assert (first.hours, second.hours) == (2.0, 1.0)
    assert second.opened_before == ("wheel-off.front-left", "wheel-alignment")
    assert backlog.total_cost_minor == 45_000


def test_opened_access_can_make_a_job_worth_doing_that_was_not() -> None:
    lowered = SharedWork("subframe-lowered", 10.0)
    dear = option(0, 0, access=(lowered,), key="rack.replace")
    cheap = option(0, 1, access=(lowered,), key="bush.replace")
    prices = costs([16_000.0] * 2, [900_000.0, 20_000.0])
    alone = ranked([cheap], certain(FAILS_SOON, FAILS_SOON), prices, grades=[2, 2]).of(0)
    both = ranked([cheap, dear], certain(FAILS_SOON, FAILS_SOON), prices, grades=[2, 2]).of(0)
    assert [item.job for item in alone.can_wait] == ["bush.replace"]
    assert [item.job for item in both.items] == ["rack.replace", "bush.replace"]


def test_a_dangerous_safety_part_comes_first_and_says_so_even_where_it_saves_nothing() -> None:
    prices = costs([16_000.0] * 2, [200_000.0, 1_000.0], safety=[False, True])
    options = [option(0, 0, key="pump.replace"), option(0, 1, key="hose.replace")]
    lives = certain(FAILS_SOON, LASTS)
    backlog = ranked(options, lives, prices, grades=[2, Grade.DANGEROUS], credit=0.1).of(0)
    first, second = backlog.items
    assert (first.job, first.before_driving, first.rank) == ("hose.replace", True, 1)
    assert first.worth_per_cost < 0
    assert first.reasons[0].code == "dangerous-safety-part"
    assert (second.job, second.before_driving) == ("pump.replace", False)


def test_a_dangerous_part_that_is_no_safety_part_gets_no_such_place() -> None:
    prices = costs([16_000.0], [1_000.0], safety=[False])
    assert ranked([option(0, 0)], certain(LASTS), prices, grades=[3], credit=0.1).of(0).items == ()


def test_parts_without_a_finding_are_not_listed_unless_unseen_for_too_long() -> None:
    prices = costs([16_000.0] * 3, [200_000.0] * 3)
    options = [option(0, cell, key=f"part-{cell}.replace") for cell in range(3)]
    lives = certain(FAILS_SOON, FAILS_SOON, FAILS_SOON)
    ranking = ranked(options, lives, prices, grades=[0, -1, 1], unseen=[False, True, False])
    items = ranking.of(0).items
    assert {item.job: item.unseen for item in items} == {"part-1.replace": True, "part-2.replace": False}
    assert {item.job: item.grade for item in items} == {"part-1.replace": None, "part-2.replace": Grade.MINOR}


def test_of_two_jobs_for_the_same_part_one_is_taken() -> None:
    prices = costs([16_000.0] * 2, [200_000.0] * 2)
    options = [option(0, 0, 1, parts=60_000.0, key="pair.replace"), option(0, 0, key="one.replace")]
    ranking = ranked(options, certain(FAILS_SOON, LASTS), prices, grades=[2, 0])
    backlog = ranking.of(0)
    assert [item.job for item in backlog.items] == ["one.replace"]
    assert backlog.can_wait == ()
    assert ranking.alternatives.tolist() == [0]


def test_a_failure_costs_the_whole_of_a_job_that_covers_an_axle() -> None:
    """One position's share is 8,000 of a job of 16,000; failing costs 4,000 beyond what the job takes."""
    prices = costs([8_000.0] * 2, [12_000.0] * 2)
    (item,) = ranked([option(0, 0, 1)], certain(FAILS_SOON, LASTS), prices, grades=[2, 2]).of(0).items
    assert item.failure_cost_minor == 16_000 + 4_000
    assert item.cost_of_waiting_minor == 4_000


def test_two_parts_of_one_job_fail_more_often_than_either_but_are_paid_once() -> None:
    """Chances of a half each: one of them fails in three of four cases."""
    left = certain(FAILS_SOON, FAILS_SOON)
    half = [[0.5, 0.5], [0.5, 0.5]]
    ends = [np.repeat(each, 2, axis=1) for each in (left.to_minor_km, left.to_major_km, left.to_dangerous_km)]
    failure = np.array([[2_000.0, 900_000.0]] * 2)
    both = type(left)(np.array(half), *ends, failure)
    prices = costs([8_000.0] * 2, [108_000.0] * 2)
    (item,) = ranked([option(0, 0, 1)], both, prices, grades=[2, 2]).of(0).items
    assert item.failure_chance_fraction == pytest.approx(0.75)
    assert item.terms.failure_minor == pytest.approx(0.75 * 116_000, abs=1)


def test_a_job_that_does_not_renew_earns_nothing_for_being_put_off() -> None:
    prices = costs([16_000.0], [500_000.0])
    lasting = certain((25_000.0, 29_000.0, 30_000.0))
    renewing, adjusting = (
        ranked([option(0, 0, renews=renews)], lasting, prices, grades=[1], credit=0.1).of(0) for renews in (True, False)
    )
    assert renewing.can_wait[0].terms.renewal_credit_minor < 0
    assert adjusting.can_wait[0].terms.renewal_credit_minor == 0


def test_nothing_found_gives_an_empty_backlog() -> None:
    ranking = ranked([option(0, 0)], certain(LASTS), costs([1.0], [2.0]), grades=[0])
    assert ranking.of(0) == Backlog((), ())
    assert ranking.fleet_order.tolist() == []


def test_a_job_for_no_part_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one fitted part"):
        ranked([option(0, 0), option(0)], certain(LASTS), costs([1.0], [2.0]), grades=[2])


@dataclass
class World:
    """A few vehicles with jobs that share access at random."""

    vehicles: int
    options: list[JobOption]
    prices: CostBook
    grades: np.ndarray
    vehicle: list[int]
    lives: object

    @classmethod
    def of(cls, seed: int, vehicles: int = 3, parts: int = 6) -> "World":
        rng = np.random.default_rng(seed)
        count = vehicles * parts
        shared = [SharedWork(f"access-{each}", float(rng.uniform(0.2, 3.0))) for each in range(4)] + [ALIGNMENT]
        options = [
            option(
                cell // parts,
                cell,
                parts=float(rng.uniform(500.0, 60_000.0)),
                hours=float(rng.uniform(0.2, 4.0)),
                access=tuple(shared[each] for each in rng.choice(5, int(rng.integers(0, 4)), replace=False)),
                key=f"part-{cell}.replace",
            )
            for cell in range(count)
        ]
        planned = rng.uniform(8_000.0, 80_000.0, count)
        safety = rng.random(count) < 0.3
        prices = CostBook(planned, 1.4 * planned + rng.uniform(0, 90_000.0, count), np.full(count, 0.1),
                          rng.uniform(0.0, 4.0, count), safety)  # fmt: skip
        grades = rng.choice([0, 1, 2, 3], count, p=[0.2, 0.4, 0.3, 0.1])
        vehicle = [cell // parts for cell in range(count)]
        return cls(vehicles, options, prices, grades, vehicle, uncertain(seed, count, 8, 60_000.0))

    def ranking(self) -> Ranking:
        return ranked(self.options, self.lives, self.prices, grades=self.grades.tolist(), vehicles=self.vehicle,
                      credit=0.4)  # fmt: skip

    def waiting_cost(self, each: JobOption, share: float = 0.8) -> float:
        """J_wait of a job over one part, written out from its definition."""
        (cell,) = each.cells
        found = waited(self.lives)  # type: ignore[arg-type]
        own = each.work.parts_minor + each.work.hours * RATE
        shared = sum(work.outlay_minor + work.hours * RATE for work in each.work.access)
        later = own + share * shared
        failure = self.prices.failure_minor[cell] + max(later - self.prices.planned_minor[cell], 0.0)
        ways = (
            found.failure_fraction[cell] * failure
            + (1.0 - found.failure_fraction[cell]) * later
            - 0.4 * found.driven_km[cell]
            + self.prices.dangerous_minor_per_km[cell] * found.dangerous_km[cell]
            + self.prices.major_minor_per_km[cell] * found.major_km[cell]
        )
        return float(ways.min())

    def greedy_by_hand(self) -> list[tuple[str, float]]:
        """All vehicles in one list: always the most worth for its cost, opening its access at its vehicle."""
        left = [each for each in self.options if self.grades[each.cells[0]] >= 1]
        waits = {each.work.key: self.waiting_cost(each) for each in left}
        opened: set[tuple[int, str]] = set()
        done: list[tuple[str, float]] = []

        def cost(each: JobOption) -> float:
            closed = [work for work in each.work.access if (each.vehicle, work.key) not in opened]
            own = each.work.parts_minor + each.work.hours * RATE
            return own + sum(work.outlay_minor + work.hours * RATE for work in closed)

        def rank(each: JobOption) -> tuple[bool, float]:
            cell = each.cells[0]
            first = bool(self.grades[cell] == 3 and self.prices.safety[cell])
            return first, (waits[each.work.key] - cost(each)) / cost(each)

        while left:
            best = max(left, key=rank)
            if not rank(best)[0] and rank(best)[1] <= 0:
                break
            done.append((best.work.key, cost(best)))
            opened |= {(best.vehicle, work.key) for work in best.work.access}
            left.remove(best)
        return done


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 100_000))
def test_the_order_is_that_of_a_greedy_choice_written_out_by_hand(seed: int) -> None:
    world = World.of(seed)
    ranking, by_hand = world.ranking(), world.greedy_by_hand()
    for vehicle in range(world.vehicles):
        items = ranking.of(vehicle).items
        keys = {each.work.key for each in world.options if each.vehicle == vehicle}
        expected = [(key, cost) for key, cost in by_hand if key in keys]
        assert [item.job for item in items] == [key for key, _ in expected]
        np.testing.assert_allclose([item.cost_now_minor for item in items], [cost for _, cost in expected], atol=0.51)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 100_000))
def test_the_order_over_a_fleet_is_one_greedy_choice_over_all_its_vehicles(seed: int) -> None:
    world = World.of(seed, vehicles=5, parts=5)
    ranking = world.ranking()
    listed = [world.options[ranking.table.option[job]].work.key for job in ranking.fleet_order]
    by_hand = [key for key, _ in world.greedy_by_hand()]
    forced = [key for key in by_hand if _is_forced(world, key)]
    assert set(listed[: len(forced)]) == set(forced)
    assert [key for key in listed if key not in forced] == [key for key in by_hand if key not in forced]


def _is_forced(world: World, key: str) -> bool:
    cell = int(key.split("-")[1].split(".")[0])
    return bool(world.grades[cell] == 3 and world.prices.safety[cell])


def test_a_vehicle_has_the_same_backlog_alone_and_in_a_fleet() -> None:
    world = World.of(4, vehicles=6)
    together = world.ranking().of(2)
    left = world.lives
    rows = [cell for cell, vehicle in enumerate(world.vehicle) if vehicle == 2]
    names = ("weight", "to_minor_km", "to_major_km", "to_dangerous_km", "to_failure_km")
    alone = World(
        1,
        [option_moved(world.options[cell], place) for place, cell in enumerate(rows)],
        CostBook(*(getattr(world.prices, name)[rows] for name in (
            "planned_minor", "failure_minor", "major_minor_per_km", "dangerous_minor_per_km", "safety"))),
        world.grades[rows],
        [0] * len(rows),
        type(left)(*(getattr(left, name)[rows] for name in names)),
    ).ranking().of(0)  # fmt: skip
    assert [told(item) for item in alone.items] == [told(item) for item in together.items]
    assert [told(item) for item in alone.can_wait] == [told(item) for item in together.can_wait]


def option_moved(each: JobOption, cell: int) -> JobOption:
    return JobOption(0, each.work, (cell,))


def told(item: BacklogItem) -> tuple[object, ...]:
    return (item.rank, item.job, item.cost_now_minor, item.worth_per_cost, item.terms, item.best_wait, item.reasons)


def test_the_cells_to_judge_are_those_of_jobs_with_a_finding() -> None:
    options = [option(0, 0, 1), option(0, 2), option(0, 3)]
    assert candidates(options, np.array([0, 1, 0, -1])).tolist() == [0, 1]
    unseen = np.array([False, False, False, True])
    assert candidates(options, np.array([0, 1, 0, -1]), unseen).tolist() == [0, 1, 3]
