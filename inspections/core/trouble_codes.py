"""Diagnostic trouble codes read by their structure: five characters, or the two bytes a control unit sends.

The structure is that of SAE J2012 / ISO 15031-6, as secondary copies tell it: a letter for the system, a digit for
who defined the code, three hexadecimal digits. What a generic code means is data (see the catalogue's signs), what a
maker's own code means is in the maker's papers.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

SYSTEMS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
_LETTERS = "PCBU"
"""In the order of the top two bits of the two-byte form."""

_SHAPE = re.compile(r"[PCBU][0-3][0-9A-F]{3}", re.ASCII)

_POWERTRAIN_GROUPS = {
    "1": "fuel and air metering",
    "2": "injector circuits",
    "3": "ignition and misfire",
    "4": "auxiliary emission controls",
    "5": "vehicle speed and idle control",
    "6": "computer and outputs",
    "7": "transmission",
    "8": "transmission",
    "9": "transmission",
    "A": "hybrid drive",
}
"""Third character of a P0 code; the hybrid group from memory of the standard, the others from several copies."""


class Origin(StrEnum):
    """Who defined a code."""

    GENERIC = "generic"
    MANUFACTURER = "manufacturer"
    RESERVED = "reserved"
    MIXED = "mixed"
    """The standard gives part of the range to makers; the code alone does not tell."""


class MalformedTroubleCode(ValueError):
    """The text is no trouble code. Remedy: copy it from the reader again; the sentence says what is wrong.

    `text` is what was given, `code` a stable name of the fault.
    """

    code = "malformed-code"

    def __init__(self, text: str, reason: str) -> None:
        super().__init__(f"“{text}” is not a trouble code: {reason}.")
        self.text = text
        self.reason = reason


@dataclass(frozen=True, slots=True, order=True)
class TroubleCode:
    """A trouble code of the right shape; `text` is its five characters in capitals."""

    text: str

    def __str__(self) -> str:
        return self.text

    @property
    def system(self) -> str:
        """Powertrain, chassis, body or network."""
        return SYSTEMS[self.text[0]]

    @property
    def origin(self) -> Origin:
        """Who defined the code: the standard, the maker, or nobody yet."""
        letter, digit, group = self.text[0], self.text[1], self.text[2]
        if letter == "P":
            return _powertrain_origin(digit, group)
        if digit == "3":
            return Origin.MIXED if letter == "U" else Origin.RESERVED
        return Origin.GENERIC if digit == "0" else Origin.MANUFACTURER

    @property
    def subsystem(self) -> str | None:
        """What part of the powertrain a P0 code is about; None where the code's structure does not say."""
        return _POWERTRAIN_GROUPS.get(self.text[2]) if self.text.startswith("P0") else None

    @property
    def two_bytes(self) -> int:
        """The code as a control unit sends it, 0 to 65535: two bits letter, two bits second digit, three nibbles."""
        return _LETTERS.index(self.text[0]) << 14 | int(self.text[1:], 16)

    @classmethod
    def from_two_bytes(cls, sent: int) -> "TroubleCode":
        """The code that a control unit sent. Raises MalformedTroubleCode outside 0 to 65535."""
        if not 0 <= sent <= 0xFFFF:
            raise MalformedTroubleCode(str(sent), "two bytes hold 0 to 65535")
        return cls(f"{_LETTERS[sent >> 14]}{sent >> 12 & 0b11}{sent & 0xFFF:03X}")


def _powertrain_origin(digit: str, group: str) -> Origin:
    """P3 is shared: P30 to P33 are the makers', P34 to P39 generic (from memory of the standard)."""
    if digit in "02":
        return Origin.GENERIC
    if digit == "1" or group in "0123":
        return Origin.MANUFACTURER
    return Origin.GENERIC if group in "456789" else Origin.RESERVED


def parse_code(text: str) -> TroubleCode:
    """The trouble code that a text holds, whatever its case and outer spaces.

    Raises MalformedTroubleCode, whose sentence says which character is wrong.
    """
    trimmed = text.strip().upper()
    if _SHAPE.fullmatch(trimmed):
        return TroubleCode(trimmed)
    raise MalformedTroubleCode(text, _what_is_wrong(trimmed))


def _what_is_wrong(text: str) -> str:
    if len(text) != 5:
        return f"it has {len(text)} characters instead of 5"
    if text[0] not in _LETTERS:
        return "it must begin with P, C, B or U"
    if "O" in text[1:]:
        return "it holds the letter O where a zero belongs"
    if text[1] not in "0123":
        return "its second character must be 0, 1, 2 or 3"
    return "its last three characters must be 0 to 9 or A to F"
