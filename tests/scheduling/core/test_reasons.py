"""Reasons are told as a person would."""

import pytest

from scheduling.core.reasons import CODES, Reason, odds, phrase

FACTS = {
    "failure-costs-times": {"times": 9.2},
    "failure-chance": {"chance_fraction": 0.38, "horizon_km": 10_000},
    "danger-exposure": {"minor": 4_000},
    "major-exposure": {"minor": 400},
    "access-opened": {"work": "wheel-off.front-left"},
    "life-left": {"minor": 900},
    "can-wait-months": {"months": 12},
}


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("failure-costs-times", "failing costs nine times the job"),
        ("failure-chance", "4 in 10 fail within 10,000 km like this"),
        ("access-opened", "already opened or done for a job before it: wheel-off.front-left"),
        ("can-wait-months", "waiting 12 months is expected to cost no more than doing it now"),
    ],
)
def test_a_reason_reads_as_a_person_would_say_it(code: str, said: str) -> None:
    assert phrase(Reason(code, FACTS[code])) == said


@pytest.mark.parametrize("code", CODES)
def test_every_code_has_an_english_sentence(code: str) -> None:
    said = phrase(Reason(code, FACTS.get(code, {})))
    assert said
    assert not said.endswith(".")


@pytest.mark.parametrize(
    ("times", "said"),
    [(1.2, "little more than the job"), (1.6, "twice the job"), (3.4, "three times"), (25.0, "25 times")],
)
def test_multiples_are_spoken_in_whole_numbers(times: float, said: str) -> None:
    assert said in phrase(Reason("failure-costs-times", {"times": times}))


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.99, "nearly all"), (0.73, "7 in 10"), (0.095, "1 in 10"), (0.05, "1 in 20"), (0.002, "fewer than 1 in 100")],
)
def test_chances_are_told_so_that_they_can_be_pictured(chance: float, said: str) -> None:
    assert odds(chance) == said


def test_an_unknown_code_is_refused() -> None:
    with pytest.raises(KeyError):
        phrase(Reason("no-such-code"))
