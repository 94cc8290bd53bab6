"""Vehicle identification numbers: form of ISO 3779, check digit and year letter of 49 CFR 565.15."""

import re

_FORM = re.compile(r"[A-HJ-NPR-Z0-9]{17}")
_VALUES = dict(zip("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", map(int, "012345678912345678123457923456789"), strict=True))
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_YEAR_LETTERS = "ABCDEFGHJKLMNPRSTVWXY123456789"
_FIRST_YEAR = 1980


def normalised(text: str) -> str:
    """As stamped: upper case, without spaces and dashes."""
    return re.sub(r"[\s-]", "", text).upper()


def form_fault(vin: str) -> str | None:
    """Why the text cannot be a VIN, in a sentence, or None. I, O and Q never occur (ISO 3779)."""
    if len(vin) != len(_WEIGHTS):
        return f"A VIN has 17 characters; this has {len(vin)}."
    if not _FORM.fullmatch(vin):
        odd = sorted({character for character in vin if character not in _VALUES})
        return f"A VIN has only digits and letters without I, O and Q; not {', '.join(odd)}."
    return None


def check_digit(vin: str) -> str:
    """The ninth character that 49 CFR 565.15 demands of a well-formed VIN."""
    remainder = sum(_VALUES[character] * weight for character, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def warnings(vin: str) -> tuple[str, ...]:
    """What is odd about a well-formed VIN without being wrong: makers outside North America omit the check digit."""
    wanted = check_digit(vin)
    if vin[8] == wanted:
        return ()
    return (
        f"The check digit (9th character) is {vin[8]}, by 49 CFR 565 it would be {wanted}: "
        "a typing error, or a maker who does not use it.",
    )


def model_years(vin: str) -> tuple[int, ...]:
    """Model years the tenth character may mean, newest first; empty where the letter means none."""
    index = _YEAR_LETTERS.find(vin[9])
    if index < 0:
        return ()
    older = _FIRST_YEAR + index
    return (older + 30, older)
