"""Parts whose lives are a multiple of the book's, against a book of their own."""

from dataclasses import fields, replace

import numpy as np
import pytest

from inspections.catalogue.books import life_book
from inspections.catalogue.loader import default_catalogue
from inspections.core.life_factor import on_the_books_clock, on_their_own_clock
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.types import Cells, FloatArray, LifeBook, Looks, Residuals

SLOTS = 60


def cells() -> tuple[Cells, Looks]:
    """One vehicle: parts as bought and parts fitted since, half of them looked at."""
    rng = np.random.default_rng(1)
    book = life_book(default_catalogue())
    now = book.life_km[:SLOTS] * rng.uniform(0.3, 1.6, SLOTS)
    fitted = np.where(rng.random(SLOTS) < 0.5, np.nan, now * rng.uniform(0.0, 0.9, SLOTS))
    looked = np.flatnonzero(rng.random(SLOTS) < 0.5)
    since = np.where(np.isnan(fitted), 0.5 * now, fitted)[looked]
    looks = Looks(looked, since + 0.6 * (now[looked] - since), rng.integers(0, 3, len(looked)))
    return Cells(np.zeros(SLOTS, dtype=np.int64), np.arange(SLOTS), fitted, now, np.full(SLOTS, 900.0)), looks


def judged(factor: FloatArray) -> Residuals:
    book = life_book(default_catalogue())
    left = residuals_by_life_filter(book, *on_the_books_clock(*cells(), factor))
    return on_their_own_clock(left, factor)


def distances(left: Residuals) -> FloatArray:
    return np.stack(
        [getattr(left, name) for name in ("to_minor_km", "to_major_km", "to_dangerous_km", "to_failure_km")]
    )


def with_lives_times(factor: float) -> LifeBook:
    book = life_book(default_catalogue())
    return replace(book, life_km=book.life_km * factor, pf_km=book.pf_km * factor)


@pytest.mark.parametrize("factor", [0.5, 0.72, 0.95])
def test_a_factor_judges_as_a_book_of_shorter_lives_would(factor: float) -> None:
    by_factor = judged(np.full(SLOTS, factor))
    by_book = residuals_by_life_filter(with_lives_times(factor), *cells())
    for field in fields(Residuals):
        ours, theirs = getattr(by_factor, field.name), getattr(by_book, field.name)
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-6)


def test_parts_of_the_books_lives_are_judged_as_without_any_factor() -> None:
    plain = residuals_by_life_filter(life_book(default_catalogue()), *cells())
    half = np.where(np.arange(SLOTS) % 2 == 0, 1.0, 0.6)
    mixed = judged(half)
    assert np.array_equal(judged(np.ones(SLOTS)).to_failure_km, plain.to_failure_km)
    assert mixed.to_failure_km[half == 1.0] == pytest.approx(plain.to_failure_km[half == 1.0], rel=1e-12)
    assert not np.allclose(mixed.to_failure_km[half < 1.0], plain.to_failure_km[half < 1.0])


def test_a_longer_life_comes_with_no_longer_warning() -> None:
    factor = np.full(SLOTS, 1.5)
    left = residuals_by_life_filter(life_book(default_catalogue()), *on_the_books_clock(*cells(), factor))
    ours, on_book = distances(on_their_own_clock(left, factor)), distances(left)
    assert ours[0] == pytest.approx(1.5 * on_book[0])
    assert ours[1:] - ours[0] == pytest.approx(on_book[1:] - on_book[0], abs=1e-6)


@pytest.mark.parametrize("factor", [0.6, 1.0, 1.7])
def test_a_part_goes_from_bad_to_worse_whatever_its_factor(factor: float) -> None:
    assert (np.diff(distances(judged(np.full(SLOTS, factor))), axis=0) >= -1e-9).all()
