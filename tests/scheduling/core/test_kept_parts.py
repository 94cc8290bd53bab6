"""Jobs that put a part right without renewing it: priced with the age that they leave it."""

import numpy as np
import pytest

from fleetcare.kernel.grades import Grade
from inspections.core.types import Residuals
from scheduling.core.backlog import Ranking, rank_jobs
from scheduling.core.bundles import bundles
from scheduling.core.pricing import kept_minor
from scheduling.core.types import JobOption
from tests.scheduling.core.given import KM_PER_MONTH, RATE, cells, certain, costs, option, waited

CREDIT = 0.5
"""Minor units for each km of a new part: 100,000 km for 50,000."""
PRICES = costs([50_000.0], [90_000.0])
FAILS_SOON = (0.0, 1_000.0, 2_000.0)
REPLACE = option(0, 0, parts=50_000.0, hours=0.0, key="part.replace")
MEND = option(0, 0, parts=4_000.0, hours=0.0, key="part.adjust", renews=False)


def ranked(options: list[JobOption], mended: tuple[float, float, float] | None) -> Ranking:
    kept = None
    if mended is not None:
        kept = kept_minor(waited(certain(mended)), cells(0), PRICES, np.array([CREDIT]))
    return rank_jobs(
        options, cells(0), np.array([Grade.MAJOR]), waited(certain(FAILS_SOON)), PRICES, np.array([CREDIT]),
        np.array([RATE]), kept=kept,
    )  # fmt: skip


def test_a_part_kept_with_much_life_left_costs_little_and_one_at_its_end_nearly_a_new_one() -> None:
    """Cheapest is to wait for a look: at 90,000 km four in five are seen, 50,000 - 0.5 x 90,000; the fifth fails at
    99,000 km, 90,000 - 0.5 x 99,000. The worn one is renewed after three months.
    """
    long_lived = kept_minor(waited(certain((90_000.0, 95_000.0, 99_000.0))), cells(0), PRICES, np.array([CREDIT]))
    assert long_lived == pytest.approx([0.8 * 5_000.0 + 0.2 * 40_500.0])
    worn = kept_minor(waited(certain((3_500.0, 3_600.0, 3_700.0))), cells(0), PRICES, np.array([CREDIT]))
    assert worn == pytest.approx([50_000.0 - CREDIT * 3_000.0])


def test_an_old_part_is_never_worth_more_than_a_new_one() -> None:
    ageless = Residuals(np.ones((1, 1)), *(np.array([[far]]) for far in (9e5, 9.5e5, 9.8e5, 9.9e5)))
    assert kept_minor(waited(ageless), cells(0), PRICES, np.array([CREDIT])) == pytest.approx([0.0])


def test_mending_comes_first_where_it_gives_years_and_replacing_is_told_beside_it() -> None:
    (item,) = ranked([REPLACE, MEND], (60_000.0, 70_000.0, 80_000.0)).of(0).items
    assert item.job == "part.adjust"
    (other,) = item.alternatives
    assert (other.option, other.cost_now_minor) == (0, 50_000)
    assert 0.0 < other.worth_per_cost < item.worth_per_cost
    assert "part-kept" in [reason.code for reason in item.reasons]


def test_mending_a_part_at_its_end_is_not_worth_it() -> None:
    (item,) = ranked([REPLACE, MEND], FAILS_SOON).of(0).items
    assert item.job == "part.replace"
    assert [other.option for other in item.alternatives] == [1]


def test_the_terms_say_what_the_kept_part_still_costs_and_add_up() -> None:
    (item,) = ranked([REPLACE, MEND], (30_000.0, 40_000.0, 45_000.0)).of(0).items
    assert item.job == "part.adjust"
    assert item.terms.kept_part_minor < 0
    assert item.cost_of_waiting_minor == item.terms.total_minor - item.cost_now_minor
    assert item.worth_per_cost == pytest.approx(item.cost_of_waiting_minor / item.cost_now_minor, abs=1e-3)


def test_mending_spares_what_waiting_costs_less_the_job_and_less_what_is_left_to_come() -> None:
    """By hand: mended, it is renewed by plan at 36 months (looks find it major too late): 50,000 - 0.5 x 36,000.

    Unmended it fails at 2,000 km whichever way one waits: 90,000 - 0.5 x 2,000.
    """
    (item,) = ranked([REPLACE, MEND], (44_000.0, 44_500.0, 45_000.0)).of(0).items
    kept = 50_000 - round(CREDIT * 36 * KM_PER_MONTH)
    assert item.terms.kept_part_minor == -kept
    assert item.cost_of_waiting_minor == 90_000 - round(CREDIT * 2_000.0) - kept - 4_000


def test_options_for_the_same_part_wait_alike_whatever_is_done_in_the_end() -> None:
    ranking = ranked([REPLACE, MEND], (30_000.0, 40_000.0, 45_000.0))
    assert ranking.priced.waiting_minor[0] == ranking.priced.waiting_minor[1]
    alone = ranked([REPLACE], None)
    assert ranking.priced.waiting_minor[0] <= alone.priced.waiting_minor[0]


def test_a_bundle_never_holds_two_jobs_for_one_part() -> None:
    for bundle in bundles(ranked([REPLACE, MEND], (60_000.0, 70_000.0, 80_000.0)), 0):
        assert len(bundle.options) == 1


def test_where_parts_outlast_the_book_a_km_of_life_is_cheaper_and_waiting_dearer() -> None:
    """By hand: three months are 3,000 km. At twice the life each earns 0.25 instead of 0.5 for being put off."""
    lives = certain((3_500.0, 3_600.0, 3_700.0))
    twice, usual = (
        kept_minor(waited(lives), cells(0), PRICES, np.array([CREDIT]), np.array([factor])) for factor in (2.0, 1.0)
    )
    assert usual == pytest.approx([50_000.0 - 0.5 * 3_000.0])
    assert twice == pytest.approx([50_000.0 - 0.25 * 3_000.0])
    items = [
        rank_jobs(
            [REPLACE], cells(0), np.array([Grade.MAJOR]), waited(lives), PRICES, np.array([CREDIT]), np.array([RATE]),
            life_factor=np.array([factor]),
        ).of(0).can_wait[0]
        for factor in (2.0, 1.0)
    ]  # fmt: skip
    assert [item.cost_of_waiting_minor for item in items] == [-750, -1_500]
