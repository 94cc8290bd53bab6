"""Results taken without going through every field are those that the fields take, and as they would leave them."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.api.inputs import ResultIn, is_plain

ODD = [
    None, "check", [], {}, {"grade": "sound"}, {"check": ""}, {"check": " pads"}, {"check": "a" * 101}, {"check": 7},
    {"check": "a", "position": ""}, {"check": "a", "position": 3}, {"check": "a", "grade": "fine"},
    {"check": "a", "grade": None}, {"check": "a", "grade": 1}, {"check": "a", "other": 1}, {"check": "a\x00"},
    {"check": "a", "measurement": 3}, {"check": "a", "measurement": {"value": True, "unit": "mm"}},
    {"check": "a", "measurement": {"value": 1e7, "unit": "mm"}}, {"check": "a", "measurement": {"value": 1}},
    {"check": "a", "measurement": {"value": 1, "unit": "mm", "by": "eye"}},
    {"check": "a", "observations": "torn"}, {"check": "a", "observations": ["torn"] * 21},
    {"check": "a", "observations": ["torn "]}, {"check": "a", "note": None}, {"check": "a", "not_examined": ""},
    {"check": "\ud800"}, {"check": "a", "note": "two\nlines"},
]  # fmt: skip
WORDS = st.text(max_size=5) | st.sampled_from(["sound", "major", "front-left", "a" * 61, " padded ", "ä", "\u2028"])
VALUES = WORDS | st.none() | st.booleans() | st.floats() | st.integers() | st.lists(WORDS, max_size=3)
RESULTS = st.fixed_dictionaries(
    {"check": WORDS},
    optional={
        "position": VALUES,
        "grade": VALUES,
        "measurement": VALUES | st.fixed_dictionaries({"value": VALUES, "unit": WORDS}),
        "observations": VALUES,
        "note": VALUES,
        "not_examined": VALUES,
    },
)


@pytest.mark.parametrize("odd", ODD, ids=str)
def test_what_the_fields_have_to_look_at_is_not_plain(odd: Any) -> None:
    assert not is_plain(odd)


def test_what_clients_mostly_send_is_plain() -> None:
    measured = {"check": "front-brake-pads.thickness", "position": "left", "measurement": {"value": 4, "unit": "mm"}}
    seen = {"check": "boot.condition", "position": None, "grade": "minor", "observations": ["cracked"], "note": ""}
    assert is_plain(measured)
    assert is_plain(seen)
    assert is_plain({"check": "boot.condition", "not_examined": "no light"})


@given(RESULTS)
def test_what_is_plain_goes_through_the_fields_unchanged(result: Any) -> None:
    if is_plain(result):
        checked = ResultIn(data=result)
        assert checked.is_valid(), checked.errors
        assert dict(checked.validated_data) == result
