"""Exact conversions at the edge; inside, one unit is stored (km, L, kPa, mm).

Factors: international yard and pound agreement 1959 (mile 1609.344 m, inch 25.4 mm); US gallon 231 cubic inches;
imperial gallon 4.54609 L; NIST Special Publication 811, appendix B.
"""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

KM_PER_MILE = Decimal("1.609344")
MM_PER_INCH = Decimal("25.4")
LITRES_PER_US_GALLON = Decimal("3.785411784")
LITRES_PER_IMPERIAL_GALLON = Decimal("4.54609")
KPA_PER_PSI = Decimal("6.894757293168")
KPA_PER_BAR = Decimal(100)
METRE = Decimal("0.001")
MILLILITRE = Decimal("0.001")

TO_BASE: dict[str, dict[str, Decimal]] = {
    "km": {"km": Decimal(1), "mi": KM_PER_MILE},
    "mm": {"mm": Decimal(1), "in": MM_PER_INCH, "in/32": MM_PER_INCH / 32},
    "bar": {"bar": Decimal(1), "kPa": 1 / KPA_PER_BAR, "psi": KPA_PER_PSI / KPA_PER_BAR},
    "L": {"L": Decimal(1), "gal_us": LITRES_PER_US_GALLON, "gal_imperial": LITRES_PER_IMPERIAL_GALLON},
}
"""Units accepted for a figure that is stored in the outer key's unit, and their factor to it."""


def to_km(value: Decimal, unit: str) -> Decimal:
    """A distance in km to the metre, half up. `unit` is "km" or "mi"; any other raises KeyError."""
    return (value * TO_BASE["km"][unit]).quantize(METRE, ROUND_HALF_UP)


def from_km(value_km: Decimal, unit: str) -> Decimal:
    """A stored distance in the wished unit, to three digits; whole miles and tenths come back as they went in."""
    return (value_km / TO_BASE["km"][unit]).quantize(METRE, ROUND_HALF_UP)


def to_litres(value: Decimal, unit: str) -> Decimal:
    """A volume in litres to the millilitre, half up. `unit` is "L", "gal_us" or "gal_imperial"; else KeyError."""
    return (value * TO_BASE["L"][unit]).quantize(MILLILITRE, ROUND_HALF_UP)


def convert(value: float, unit: str, base: str) -> float | None:
    """A measured figure in its base unit, or None if the unit cannot be turned into it."""
    if unit == base:
        return value
    if base == "°C" and unit == "°F":
        return (value - 32.0) / 1.8
    factor = TO_BASE.get(base, {}).get(unit)
    return None if factor is None else float(Decimal(repr(value)) * factor)


def litres_per_100_km(miles_per_gallon: Fraction | float, litres_per_gallon: Decimal) -> float:
    """Fuel use as L/100 km; the conversion is reciprocal, so averages must be taken on this side."""
    return float(Decimal(100) * litres_per_gallon / KM_PER_MILE) / float(miles_per_gallon)


def miles_per_gallon(litres_per_100_km: float, litres_per_gallon: Decimal) -> float:
    """The same seen from the other side: the conversion is its own inverse."""
    return float(Decimal(100) * litres_per_gallon / KM_PER_MILE) / litres_per_100_km
