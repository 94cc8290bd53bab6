"""The arrays the core computes with: right against sums done by hand, sane for the whole catalogue."""

import numpy as np
import pytest

from inspections.catalogue.books import cost_book, life_book, positions_covered, renewing_job
from inspections.catalogue.catalogue import Catalogue

LABOUR = 6000
"""60.00 an hour."""


def test_lives_come_in_slot_order(sample: Catalogue) -> None:
    book = life_book(sample)
    assert book.life_km.tolist() == [50000.0, 50000.0, 100000.0]
    assert book.pf_km.tolist() == [15000.0, 15000.0, 0.0]
    assert book.km_weight.tolist() == [0.9, 0.9, 1.0]


def test_a_part_that_only_ages_ends_with_its_years(catalogue: Catalogue) -> None:
    book = life_book(catalogue)
    fluid = catalogue.slot_index["brake-fluid", ""]
    years = catalogue.parts["brake-fluid"].life.years
    clock = book.clock_km(np.array([fluid]), np.array([300000.0]), np.array([years]))
    assert clock == pytest.approx(book.life_km[fluid])


def test_the_planned_job_of_an_axle_is_shared_by_its_two_positions(sample: Catalogue) -> None:
    # 1 h + 0.8 x (2 wheels x 0.25 h + 0.5 h bleeding) = 1.8 h at 60 = 108; parts 60 + 0.8 x fluid 12 = 69.60
    # 177.60 / 2 = 88.80
    assert cost_book(sample, LABOUR, 1.0).planned_minor[:2].tolist() == pytest.approx([8880.0, 8880.0])


def test_a_planned_job_pays_eighty_percent_of_its_access(sample: Catalogue) -> None:
    # 2 h + 0.8 x (2 x 0.25 + 0.3) h = 2.64 h at 60 = 158.40; parts 100
    assert cost_book(sample, LABOUR, 1.0).planned_minor[2] == pytest.approx(25840.0)


def test_a_failure_adds_a_third_of_tow_incident_damage_and_trouble(sample: Catalogue) -> None:
    book = cost_book(sample, LABOUR, 1.0)
    # 88.80 x 1.5 + 0.35 x (tow 150 + incident 300 + damage 100 + trouble 40) = 339.70
    assert book.failure_minor[0] == pytest.approx(33970.0)
    # 258.40 x 1.0 + 0.35 x trouble 40
    assert book.failure_minor[2] == pytest.approx(27240.0)


def test_each_km_in_a_bad_state_costs_exposure_and_wear_of_other_parts(sample: Catalogue) -> None:
    book = cost_book(sample, LABOUR, 1.0)
    # major: a tenth of 40 per 1000 km; the disc suffers only in dangerous: 100 x (8 - 1) over 100000 km = 7 per 1000
    assert book.major_minor_per_km[0] * 1000 == pytest.approx(400.0)
    assert book.dangerous_minor_per_km[0] * 1000 == pytest.approx(4000.0 + 700.0)
    # the disc is said to endanger nobody: 20 per 1000 km all the same
    assert book.dangerous_minor_per_km[2] * 1000 == pytest.approx(2000.0)
    assert book.major_minor_per_km[2] * 1000 == pytest.approx(200.0)


def test_who_works_for_nothing_pays_only_parts(sample: Catalogue) -> None:
    assert cost_book(sample, 0, 1.0).planned_minor.tolist() == pytest.approx([3480.0, 3480.0, 10000.0])


def test_even_a_free_errand_costs_something_for_who_works_for_nothing(catalogue: Catalogue) -> None:
    assert cost_book(catalogue, 0, 1.0).planned_minor.min() >= 100.0


def test_prices_and_currency_scale_everything_but_labour(catalogue: Catalogue) -> None:
    once, thrice = cost_book(catalogue, 0, 1.0), cost_book(catalogue, 0, 3.0)
    yen = cost_book(catalogue, 0, 1.0, minor_per_euro=160)
    for field in ("planned_minor", "failure_minor", "major_minor_per_km", "dangerous_minor_per_km"):
        np.testing.assert_allclose(getattr(thrice, field), 3.0 * getattr(once, field))
        np.testing.assert_allclose(getattr(yen, field), 1.6 * getattr(once, field))


def test_dearer_labour_never_makes_anything_cheaper(catalogue: Catalogue) -> None:
    cheap, dear = cost_book(catalogue, 2000, 1.0), cost_book(catalogue, 12000, 1.0)
    assert (dear.planned_minor > cheap.planned_minor).all()
    assert (dear.failure_minor > cheap.failure_minor).all()


def test_every_book_figure_is_finite_and_where_it_must_be_positive(catalogue: Catalogue) -> None:
    lives, costs = life_book(catalogue), cost_book(catalogue, LABOUR, 1.0)
    size = len(catalogue.slots)
    for array in (lives.life_km, lives.life_cv, lives.km_per_year, costs.planned_minor, costs.failure_minor):
        assert array.shape == (size,)
        assert np.isfinite(array).all()
        assert (array > 0).all()
    for array in (lives.pf_km, costs.major_minor_per_km, costs.dangerous_minor_per_km):
        assert array.shape == (size,)
        assert np.isfinite(array).all()
        assert (array >= 0).all()
    assert ((lives.km_weight >= 0) & (lives.km_weight <= 1)).all()
    assert (lives.pf_km < lives.life_km).all()


def test_failing_always_costs_more_than_planning(catalogue: Catalogue) -> None:
    costs = cost_book(catalogue, LABOUR, 1.0)
    assert (costs.failure_minor > costs.planned_minor).all()


def test_safety_parts_and_only_they_carry_exposure(catalogue: Catalogue) -> None:
    costs = cost_book(catalogue, LABOUR, 1.0)
    for row, slot in enumerate(catalogue.slots):
        part = catalogue.parts[slot.part_key]
        assert costs.safety[row] == part.safety == (part.failure.danger_eur_per_1000_km > 0)
    assert (costs.dangerous_minor_per_km[costs.safety] > costs.major_minor_per_km[costs.safety]).all()
    assert (costs.major_minor_per_km[costs.safety] > 0).all()


def test_the_cost_of_danger_stays_in_its_band(catalogue: Catalogue) -> None:
    # 5 to 100 euros per 1000 km driven with a dangerous safety part
    dangers = {part.key: part.failure.danger_eur_per_1000_km for part in catalogue.parts.values() if part.safety}
    assert {key for key, euros in dangers.items() if not 5 <= euros <= 100} == set()


def test_the_job_a_plan_is_priced_with_renews_the_part(sample: Catalogue) -> None:
    assert renewing_job(sample, "pads").key == "pads.replace"


def test_a_job_covers_the_positions_of_its_scope(catalogue: Catalogue) -> None:
    def covered(job: str, position: str) -> tuple[str, ...]:
        return positions_covered(catalogue.jobs[job], position)

    assert covered("tyre.replace", "rear-left") == ("rear-left", "rear-right")
    assert covered("tyre.swap-axles", "rear-left") == ("front-left", "front-right", "rear-left", "rear-right")
    assert covered("tyre.repair-puncture", "rear-left") == ("rear-left",)
    assert covered("steering-rack.replace", "") == ("",)
