"""The kernel held against published values; each source is named beside its check."""

import json
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from vininfo import Vin

from fleetcare.kernel import dates, ids, units, vin
from fleetcare.kernel.grades import Grade, worst
from fleetcare.kernel.money import Money, minor_digits, rounded_minor

REGISTRY = pint.UnitRegistry(non_int_type=Decimal)


class TestUnits:
    """Against Pint (general-purpose units library) and NIST Special Publication 811."""

    @pytest.mark.parametrize(
        ("factor", "one", "other"),
        [
            (units.KM_PER_MILE, "mile", "kilometer"),
            (units.MM_PER_INCH, "inch", "millimeter"),
            (units.LITRES_PER_US_GALLON, "US_liquid_gallon", "liter"),
            (units.LITRES_PER_IMPERIAL_GALLON, "imperial_gallon", "liter"),
            (units.KPA_PER_PSI, "psi", "kilopascal"),
        ],
    )
    def test_factors_are_those_of_pint(self, factor: Decimal, one: str, other: str) -> None:
        reference = REGISTRY.Quantity(Decimal(1), one).to(other).magnitude
        assert float(factor) == pytest.approx(float(reference), rel=1e-12)

    def test_fuel_use_of_nist_sp_811(self) -> None:
        # NIST SP 811, appendix B.5: 24 mpg is 9.8 L/100 km; status read. 235.214583333/mpg, computed with Pint.
        assert round(units.litres_per_100_km(24.0, units.LITRES_PER_US_GALLON), 1) == 9.8
        assert units.litres_per_100_km(1.0, units.LITRES_PER_US_GALLON) == pytest.approx(235.214583333, rel=1e-11)
        assert units.litres_per_100_km(1.0, units.LITRES_PER_IMPERIAL_GALLON) == pytest.approx(282.480936332, rel=1e-11)

    def test_the_mean_over_a_distance_is_taken_on_the_reciprocal_side(self) -> None:
        # 20 and 30 mpg over equal distances make 24, not 25; check-value E.1, computed.
        both = [units.litres_per_100_km(mpg, units.LITRES_PER_US_GALLON) for mpg in (20.0, 30.0)]
        mean = units.litres_per_100_km(24.0, units.LITRES_PER_US_GALLON)
        assert sum(both) / 2 == pytest.approx(mean, rel=1e-12)

    @given(st.decimals(min_value=0, max_value=999_999, places=1))
    def test_miles_come_back_to_the_last_digit(self, miles: Decimal) -> None:
        back = units.from_km(units.to_km(miles, "mi"), "mi")
        assert back.quantize(Decimal("0.1")) == miles

    def test_two_thirty_seconds_of_an_inch_are_less_than_the_european_tread(self) -> None:
        # 49 CFR 570.9: 2/32 in = 1.5875 mm exactly, below 1.6 mm.
        assert units.convert(2.0, "in/32", "mm") == 1.5875

    def test_a_unit_of_another_kind_is_no_conversion(self) -> None:
        assert units.convert(3.0, "bar", "mm") is None


class TestMoney:
    """Digits against CLDR as published; ISO 4217 itself was not readable."""

    @pytest.mark.parametrize(
        ("code", "digits"), [("JPY", 0), ("KRW", 0), ("EUR", 2), ("USD", 2), ("KWD", 3), ("BHD", 3)]
    )
    def test_minor_digits(self, code: str, digits: int) -> None:
        assert minor_digits(code) == digits

    @pytest.mark.parametrize(("currency", "text"), [("JPY", "120"), ("EUR", "120.00"), ("BHD", "120.000")])
    def test_amounts_are_written_with_the_digits_of_their_currency(self, currency: str, text: str) -> None:
        assert Money.of(Decimal(120), currency).as_json() == {"amount": text, "currency": currency}

    def test_halves_are_rounded_up_once(self) -> None:
        assert Money.of(Decimal("0.125"), "EUR").minor == 13
        assert rounded_minor(2.5) == 3

    def test_different_currencies_are_never_added(self) -> None:
        with pytest.raises(ValueError, match="cannot add"):
            Money(1, "EUR") + Money(1, "USD")


class TestDates:
    """Month arithmetic against dateutil's relativedelta, as listed in check-value F.1; computed."""

    @pytest.mark.parametrize(
        ("start", "months", "end"),
        [
            (date(2026, 1, 31), 1, date(2026, 2, 28)),
            (date(2024, 2, 29), 12, date(2025, 2, 28)),
            (date(2026, 8, 31), 6, date(2027, 2, 28)),
            (date(2023, 10, 31), 4, date(2024, 2, 29)),
            (date(2026, 3, 15), -1, date(2026, 2, 15)),
        ],
    )
    def test_a_month_later_is_clamped_to_its_last_day(self, start: date, months: int, end: date) -> None:
        assert dates.add_months(start, months) == end


class TestVin:
    """49 CFR 565.15, status read and computed; and vininfo as a reference library."""

    CASES = (
        ("1G4AH59H45G118341", "4"),  # the rule's own sample
        ("1M8GDM9AXKP042788", "X"),
        ("11111111111111111", "1"),
        ("1G1BL52P7TR115520", "7"),
    )

    @pytest.mark.parametrize(("number", "digit"), CASES)
    def test_published_check_digits(self, number: str, digit: str) -> None:
        assert vin.check_digit(number) == digit == number[8]
        assert vin.warnings(number) == ()

    @pytest.mark.parametrize("number", ["1M8GDM9A1KP042788", "1M8GDM9AXKP042787", "1M8GDM9AXKP042878"])
    def test_published_wrong_ones_warn_and_are_still_well_formed(self, number: str) -> None:
        assert vin.form_fault(number) is None
        assert len(vin.warnings(number)) == 1

    @given(st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17))
    def test_the_check_digit_agrees_with_a_reference_library(self, number: str) -> None:
        assert (not vin.warnings(number)) == Vin(number).verify_checksum(check_year=False)

    @pytest.mark.parametrize(
        "number", ["1M8GDM9AXKP04278", "1M8GDM9AXKP0427889", "IM8GDM9AXKP042788", "1M8GDM9AXKP04278Ö"]
    )
    def test_other_forms_are_refused_with_a_sentence(self, number: str) -> None:
        assert vin.form_fault(number)

    def test_the_year_letter_may_mean_two_years(self) -> None:
        assert vin.model_years("1M8GDM9AXKP042788") == (2019, 1989)  # as vininfo answers; status computed


class TestGrades:
    def test_the_most_serious_category_governs(self) -> None:
        # Directive 2014/45/EU, Article 7(3); status from memory.
        assert worst([Grade.MINOR, Grade.DANGEROUS, Grade.MAJOR]) is Grade.DANGEROUS
        assert worst([]) is Grade.SOUND

    def test_words_and_values_correspond(self) -> None:
        assert [Grade.from_word(grade.word) for grade in Grade] == list(Grade)
        with pytest.raises(KeyError):
            Grade.from_word("MAJOR")


class TestIds:
    def test_they_are_version_7_of_rfc_9562_and_grow_with_time(self) -> None:
        made = [ids.new_id() for _ in range(1000)]
        assert {each.version for each in made} == {7}
        assert len(set(made)) == 1000
        assert [each.int >> 80 for each in made] == sorted(each.int >> 80 for each in made)


def test_fractions_and_floats_give_the_same_fuel_use() -> None:
    exact = units.litres_per_100_km(Fraction(24), units.LITRES_PER_US_GALLON)
    assert json.dumps(exact) == json.dumps(units.litres_per_100_km(24.0, units.LITRES_PER_US_GALLON))
