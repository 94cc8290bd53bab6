"""How far a look can be trusted."""

import numpy as np
import pytest

from inspections.core.looking import seen_chances, seen_steps


def test_every_state_is_seen_as_some_grade() -> None:
    assert seen_chances().sum(axis=1) == pytest.approx(np.ones(4), abs=1e-12)


def test_the_misses_are_those_of_a_careful_amateur() -> None:
    """22, 6 and 3 % of minor, major and dangerous defects seen as sound: common practice, no source."""
    assert seen_chances()[1:, 0] == pytest.approx([0.22, 0.06, 0.03], abs=2e-4)


def test_no_grade_seen_rules_a_state_out() -> None:
    assert np.all(seen_chances() > 0.0)


def test_each_state_is_most_often_seen_as_what_it_is() -> None:
    assert np.array_equal(seen_chances().argmax(axis=1), np.arange(4))


def test_steps_add_up_to_the_chance_of_the_state_reached() -> None:
    passed = np.tril(np.ones((4, 4)))
    assert passed @ seen_steps().T == pytest.approx(seen_chances())
