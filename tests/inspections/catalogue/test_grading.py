"""What figures and observations mean, at and around the published limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleetcare.kernel.errors import InvalidInput
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.grading import (
    ImplausibleValueError,
    NothingToMeasureError,
    UnknownObservationError,
    governing_limit,
    grade_measurement,
    grade_observations,
    grade_result,
)
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.schema import Measurement

MM_PER_INCH = 25.4


def figure(catalogue: Catalogue, check: str) -> Measurement:
    measurement = catalogue.checks[check].check.measurement
    assert measurement is not None
    return measurement


MEASURED = {
    key: entry.check.measurement for key, entry in default_catalogue().checks.items() if entry.check.measurement
}


@pytest.mark.parametrize(
    ("check", "value", "scheme", "grade"),
    [
        # Tread: Directive 2014/45/EU 5.2.3 and 89/459/EEC, 1.6 mm (M); 49 CFR 570.9, 2/32 in = 1.5875 mm (M)
        ("tyre.tread", 1.6, "eu", Grade.MINOR),
        ("tyre.tread", 1.6, "uk", Grade.MINOR),
        ("tyre.tread", 1.59, "eu", Grade.MAJOR),
        ("tyre.tread", 1.59, "uk", Grade.MAJOR),
        ("tyre.tread", 1.59, "us", Grade.MINOR),
        ("tyre.tread", 2 / 32 * MM_PER_INCH, "us", Grade.MINOR),
        ("tyre.tread", 2 / 32 * MM_PER_INCH, "eu", Grade.MAJOR),
        ("tyre.tread", 1.58, "us", Grade.MAJOR),
        ("tyre.tread", 0.5, "us", Grade.DANGEROUS),
        ("tyre.tread", 7.5, "eu", Grade.SOUND),
        # Pads: older UK rule 1.5 mm (S); 49 CFR 393.47(d) hydraulic 1.6 mm (R); 3 mm common practice, no source
        ("front-brake-pads.thickness", 1.5, "uk", Grade.MINOR),
        ("front-brake-pads.thickness", 1.49, "uk", Grade.MAJOR),
        ("front-brake-pads.thickness", 1.6, "us", Grade.MINOR),
        ("front-brake-pads.thickness", 1.55, "us", Grade.MAJOR),
        ("front-brake-pads.thickness", 3.0, "eu", Grade.MINOR),
        ("front-brake-pads.thickness", 2.9, "eu", Grade.MAJOR),
        ("front-brake-pads.thickness", 3.5, "trade", Grade.MINOR),
        ("front-brake-pads.thickness", 0.0, "uk", Grade.DANGEROUS),
        ("front-brake-pads.thickness", 12.0, "uk", Grade.SOUND),
        # Shoes: 49 CFR 570.5, 1/32 in = 0.79375 mm (M)
        ("brake-shoes.thickness", 1 / 32 * MM_PER_INCH, "us", Grade.MINOR),
        ("brake-shoes.thickness", 0.79, "us", Grade.MAJOR),
        # Steering lash: 49 CFR 570.7, 2 in for a wheel of up to 16 in (R)
        ("steering-column.free-play", 2 * MM_PER_INCH, "us", Grade.MINOR),
        ("steering-column.free-play", 51.0, "us", Grade.MAJOR),
        # Brake efficiency: M1 58 % (M, confirmed R by a UK notice); imbalance above 30 % fails (M, R)
        ("service-brake.efficiency", 58.0, "uk", Grade.MINOR),
        ("service-brake.efficiency", 57.9, "uk", Grade.MAJOR),
        ("service-brake.imbalance", 30.0, "uk", Grade.MINOR),
        ("service-brake.imbalance", 30.1, "uk", Grade.MAJOR),
        # Brake fluid: worry above 3 % water; common practice, no source
        ("brake-fluid.water", 3.0, "trade", Grade.MINOR),
        ("brake-fluid.water", 3.1, "trade", Grade.MAJOR),
        # Disc: the stamped minimum itself is still allowed
        ("front-brake-disc.thickness", 0.0, "trade", Grade.MINOR),
        ("front-brake-disc.thickness", -0.1, "trade", Grade.MAJOR),
    ],
)
def test_a_figure_is_graded_by_the_limit_of_the_scheme(
    catalogue: Catalogue, check: str, value: float, scheme: str, grade: Grade
) -> None:
    assert grade_measurement(figure(catalogue, check), value, scheme) is grade


def test_a_scheme_without_its_own_limit_falls_back_to_the_first(catalogue: Catalogue) -> None:
    pads = figure(catalogue, "front-brake-pads.thickness")
    assert governing_limit(pads, "eu") is pads.limits[0]
    assert governing_limit(pads, "us").value == 1.6


def test_a_converted_limit_is_still_the_limit(catalogue: Catalogue) -> None:
    tread = figure(catalogue, "tyre.tread")
    for value in (math.nextafter(1.5875, 0.0), 0.0625 * 2.54 * 10, 1.5875 - 1e-12):
        assert grade_measurement(tread, value, "us") is Grade.MINOR


@given(check=st.sampled_from(sorted(MEASURED)), scheme=st.sampled_from(["eu", "uk", "us", "trade"]), data=st.data())
def test_a_worse_figure_never_has_a_better_grade(check: str, scheme: str, data: st.DataObject) -> None:
    measurement = MEASURED[check]
    inside = st.floats(measurement.least, measurement.most)
    low, high = sorted((data.draw(inside), data.draw(inside)))
    better, worse = (low, high) if measurement.direction == "rises" else (high, low)
    assert grade_measurement(measurement, better, scheme) <= grade_measurement(measurement, worse, scheme)


@pytest.mark.parametrize("check", sorted(MEASURED))
def test_a_new_part_measures_sound_under_every_scheme(check: str) -> None:
    for scheme in ("eu", "uk", "us", "trade"):
        assert grade_measurement(MEASURED[check], MEASURED[check].new, scheme) is Grade.SOUND


@pytest.mark.parametrize("value", [-0.1, 20.1, math.nan, math.inf, -math.inf])
def test_a_figure_that_cannot_be_true_is_refused(catalogue: Catalogue, value: float) -> None:
    with pytest.raises(ImplausibleValueError, match="between 0 and 20 mm") as refused:
        grade_measurement(figure(catalogue, "tyre.tread"), value, "eu")
    assert isinstance(refused.value, InvalidInput)
    assert refused.value.faults[0].pointer == "/measurement/value"


@pytest.mark.parametrize(
    ("check", "seen", "grade"),
    [
        # UK inspection manual and Directive 2014/45/EU Annex I, as noted beside each
        ("brake-pipes.under-floor", "flaking", Grade.DANGEROUS),  # 1.1.11 imminent risk of failure (S)
        ("brake-pipes.under-floor", "pitted", Grade.MAJOR),  # a third of the wall: older UK rule (S)
        ("brake-hose.condition", "chafed", Grade.MAJOR),  # 1.1.12 (M)
        ("brake-hose.condition", "deep-cracks", Grade.DANGEROUS),  # 1.1.12 cord damaged (M)
        ("brake-hose.condition", "bulging", Grade.DANGEROUS),  # 1.1.12 bulging excessively (M)
        ("front-brake-pads.condition", "metal-to-metal", Grade.DANGEROUS),  # 1.1.13 (M)
        ("track-rod-end.play", "excessive-play", Grade.MAJOR),  # 2.1.3 (b)(i) (S)
        ("track-rod-end.boot", "torn", Grade.MAJOR),  # 2.1.3 (g)(ii) (S)
        ("steering-rack-boot.condition", "torn", Grade.MAJOR),  # 2.1.3 (g)(ii) (S)
        ("wheel-bearing.play", "excessive-play", Grade.MAJOR),  # 5.1.3 (R)
        ("wheel-bearing.play", "breaking-up", Grade.DANGEROUS),  # 5.1.3 (R)
        ("wheel-bearing.noise", "rough", Grade.MAJOR),  # 5.1.3 (R)
        ("wheel-bearing.noise", "grinding", Grade.DANGEROUS),  # 5.1.3 likely to overheat (R)
        ("wheel-nuts.tightness", "one-missing", Grade.MAJOR),  # 5.2.1 (R)
        ("wheel-nuts.tightness", "several-missing", Grade.DANGEROUS),  # 5.2.1 (R)
        ("wheel-rim.condition", "cracked", Grade.DANGEROUS),  # 5.2.2 (R)
        ("tyre.outer-sidewall", "cut", Grade.MAJOR),  # longer than 25 mm, to the cord (S)
        ("coil-spring.condition", "broken", Grade.MAJOR),  # 5.3.1 (b)(i) (S)
        ("coil-spring.condition", "missing", Grade.DANGEROUS),  # 5.3.1 (c)(ii) (S)
        ("shock-absorber.leak", "leaking", Grade.MAJOR),  # 5.3.2 (M)
        ("lower-ball-joint.play", "excessive-play", Grade.MAJOR),  # 5.3.4 (a)(i) (S)
        ("lower-ball-joint.boot", "torn", Grade.MAJOR),  # 5.3.4 (b)(ii) (S)
        ("outer-driveshaft-boot.condition", "torn", Grade.MAJOR),  # 6.1.7 (g)(ii) (S)
        ("rear-arm.corrosion", "cracked", Grade.DANGEROUS),  # 5.1.1 axle fractured (R)
        ("rear-final-drive.leak", "leaking", Grade.MAJOR),  # 8.4.1 (M)
        ("rear-final-drive.leak", "streaming", Grade.DANGEROUS),  # 8.4.1 steady stream (M)
    ],
)
def test_a_published_defect_has_its_published_category(
    catalogue: Catalogue, check: str, seen: str, grade: Grade
) -> None:
    assert grade_observations(catalogue.checks[check].check, [seen]) is grade


def test_the_most_serious_of_several_defects_governs(sample: Catalogue) -> None:
    # Directive 2014/45/EU, Article 7(3); from memory
    condition = sample.checks["pads.condition"].check
    assert grade_observations(condition, ["uneven", "gone", "cracked"]) is Grade.DANGEROUS
    assert grade_observations(condition, ["uneven", "cracked"]) is Grade.MAJOR
    assert grade_observations(condition, ["fine"]) is Grade.SOUND


def test_nothing_observed_is_sound(sample: Catalogue) -> None:
    assert grade_observations(sample.checks["pads.condition"].check, []) is Grade.SOUND


def test_an_unknown_observation_is_refused_with_what_is_allowed(sample: Catalogue) -> None:
    with pytest.raises(UnknownObservationError) as refused:
        grade_observations(sample.checks["pads.condition"].check, ["uneven", "rusty"])
    assert refused.value.key == "rusty"
    assert refused.value.allowed == ("fine", "uneven", "cracked", "gone")


@pytest.mark.parametrize(
    ("check", "value", "seen", "grade"),
    [
        ("tyre.tread", 2.9, [], Grade.MINOR),
        ("tyre-repair-kit.sealant", None, ["expired"], Grade.MAJOR),
        ("tyre.inner-sidewall", None, [], Grade.SOUND),
    ],
)
def test_a_result_is_graded_whole(
    catalogue: Catalogue, check: str, value: float | None, seen: list[str], grade: Grade
) -> None:
    assert grade_result(catalogue.checks[check].check, value, seen, "eu") is grade


def test_a_figure_for_a_check_that_measures_nothing_is_refused(catalogue: Catalogue) -> None:
    with pytest.raises(NothingToMeasureError):
        grade_result(catalogue.checks["tyre.inner-sidewall"].check, 3.0, [], "eu")
