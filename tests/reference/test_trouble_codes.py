"""Trouble codes against SAE J2012 / ISO 15031-6, as secondary copies tell them (the standard was not readable)."""

import pytest

from inspections.core.trouble_codes import Origin, TroubleCode, parse_code

# C: these 81 generic codes stand in the table of 2066 codes of the Python package obd 0.7.3
CODES_IN_USE = [
    "P0016", "P0011", "P0100", "P0101", "P0102", "P0103", "P0113", "P0117", "P0118", "P0125", "P0128", "P0130",
    "P0131", "P0132", "P0133", "P0134", "P0135", "P0136", "P0137", "P0138", "P0140", "P0141", "P0171", "P0172",
    "P0174", "P0175", "P0201", "P0217", "P0300", "P0301", "P0302", "P0303", "P0304", "P0325", "P0335", "P0336",
    "P0337", "P0338", "P0339", "P0340", "P0341", "P0342", "P0343", "P0344", "P0345", "P0350", "P0351", "P0352",
    "P0353", "P0354", "P0401", "P0411", "P0420", "P0421", "P0430", "P0440", "P0441", "P0442", "P0443", "P0446",
    "P0455", "P0456", "P0457", "P0500", "P0505", "P0506", "P0507", "P0520", "P0524", "P0562", "P0563", "P0601",
    "P0606", "P0700", "P0715", "P0720", "P0730", "P0740", "P0741", "U0100", "U0121",
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "two_bytes"),
    [("P0301", 0x0301), ("P0420", 0x0420), ("P1234", 0x1234), ("B1234", 0x9234), ("U0100", 0xC100)],
)
def test_the_two_byte_form(text: str, two_bytes: int) -> None:
    # C: the same package decodes these bytes to these codes
    assert parse_code(text).two_bytes == two_bytes
    assert TroubleCode.from_two_bytes(two_bytes) == parse_code(text)


@pytest.mark.parametrize("text", CODES_IN_USE)
def test_codes_in_use_are_read_as_generic(text: str) -> None:
    assert parse_code(text).text == text
    assert parse_code(text).origin == Origin.GENERIC


@pytest.mark.parametrize(
    ("text", "system"),
    [("P0301", "powertrain"), ("C0035", "chassis"), ("B1234", "body"), ("U0100", "network")],
)
def test_the_letter_names_the_system(text: str, system: str) -> None:
    # S, several copies
    assert parse_code(text).system == system


@pytest.mark.parametrize(
    ("text", "origin"),
    [
        ("P0301", Origin.GENERIC),  # S
        ("P1234", Origin.MANUFACTURER),  # S
        ("P2187", Origin.GENERIC),  # S
        ("P3000", Origin.MANUFACTURER),  # M: P30 to P33
        ("P33FF", Origin.MANUFACTURER),  # M
        ("P3400", Origin.GENERIC),  # M: P34 to P39
        ("P3999", Origin.GENERIC),  # M
        ("C0035", Origin.GENERIC),  # S
        ("B1234", Origin.MANUFACTURER),  # S
        ("C2000", Origin.MANUFACTURER),  # S
        ("B3000", Origin.RESERVED),  # S
        ("C3000", Origin.RESERVED),  # S
        ("U3000", Origin.MIXED),  # S
    ],
)
def test_the_second_character_says_who_defined_the_code(text: str, origin: Origin) -> None:
    assert parse_code(text).origin == origin


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("P0171", "fuel and air"),  # S, as all but the last
        ("P0201", "injector"),
        ("P0301", "misfire"),
        ("P0420", "emission"),
        ("P0500", "speed"),
        ("P0601", "computer"),
        ("P0700", "transmission"),
        ("P0841", "transmission"),
        ("P0A80", "hybrid"),  # M
    ],
)
def test_the_third_character_of_a_p0_code_names_the_subsystem(text: str, words: str) -> None:
    subsystem = parse_code(text).subsystem
    assert subsystem is not None
    assert words in subsystem


@pytest.mark.parametrize("text", ["P1301", "P2187", "C0035", "B1234", "U0100"])
def test_no_subsystem_is_read_into_other_codes(text: str) -> None:
    assert parse_code(text).subsystem is None
