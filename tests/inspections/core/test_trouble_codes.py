"""Trouble codes are read by their structure, and what is no code is refused with the reason."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.trouble_codes import MalformedTroubleCode, Origin, TroubleCode, parse_code

SHAPE = re.compile(r"[PCBU][0-3][0-9A-F]{3}")


@pytest.mark.parametrize("text", ["P0335", "p0335", " P0335\n", "\tp0335"])
def test_case_and_outer_spaces_do_not_matter(text: str) -> None:
    assert parse_code(text).text == "P0335"
    assert str(parse_code(text)) == "P0335"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "0 characters"),
        ("P033", "4 characters"),
        ("P03355", "6 characters"),
        ("P0 35", "last three"),
        ("X0335", "begin with"),
        ("00335", "begin with"),
        ("PO335", "letter O"),
        ("P0O35", "letter O"),
        ("P4335", "second character"),
        ("PA335", "second character"),
        ("P03G5", "last three"),
        ("P03-5", "last three"),
        ("Р0335", "begin with"),  # a Cyrillic letter that looks like P
        ("P٠335", "second character"),  # an Arabic-Indic zero
    ],
)
def test_what_is_no_code_is_refused_with_the_reason(text: str, reason: str) -> None:
    with pytest.raises(MalformedTroubleCode, match=reason) as refused:
        parse_code(text)
    assert refused.value.text == text
    assert refused.value.code == "malformed-code"
    assert isinstance(refused.value, ValueError)


@settings(deadline=None)
@given(st.text(max_size=8))
def test_any_text_is_a_code_of_the_right_shape_or_refused(text: str) -> None:
    try:
        code = parse_code(text)
    except MalformedTroubleCode:
        assert not SHAPE.fullmatch(text.strip().upper())
    else:
        assert SHAPE.fullmatch(code.text)


def test_every_two_bytes_are_a_code_and_every_code_two_bytes() -> None:
    sent = range(0x10000)
    codes = [TroubleCode.from_two_bytes(value) for value in sent]
    assert len({code.text for code in codes}) == 4 * 4 * 16**3
    assert all(parse_code(code.text) == code for code in codes)
    assert [code.two_bytes for code in codes] == list(sent)


@pytest.mark.parametrize("sent", [-1, 0x10000])
def test_more_than_two_bytes_are_refused(sent: int) -> None:
    with pytest.raises(MalformedTroubleCode, match="two bytes"):
        TroubleCode.from_two_bytes(sent)


def test_codes_sort_by_their_text() -> None:
    assert sorted([parse_code("U0100"), parse_code("B1234"), parse_code("P0301")])[0].text == "B1234"


def test_every_code_has_a_system_and_an_origin() -> None:
    origins = {TroubleCode.from_two_bytes(value).origin for value in range(0, 0x10000, 7)}
    assert origins == set(Origin)
