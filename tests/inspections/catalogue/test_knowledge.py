"""What the shipped files say: complete, in the trade's words, each figure with its source."""

import re

import numpy as np
import pytest

from inspections.catalogue.books import life_book
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.schema import COMMON_PRACTICE

SYSTEMS = [
    "brakes",
    "steering",
    "suspension",
    "wheels-tyres",
    "driveline",
    "engine",
    "ignition",
    "intake-fuel",
    "cooling",
    "exhaust-emissions",
    "gearbox",
    "electrics-lamps",
    "body-restraint",
    "climate",
    "hybrid-high-voltage",
]


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_system_of_a_vehicle_is_there_with_parts_and_checks(catalogue: Catalogue, system: str) -> None:
    assert catalogue.systems[system].parts
    assert all(part.checks and part.jobs for part in catalogue.systems[system].parts)


def test_there_are_at_least_150_checks(catalogue: Catalogue) -> None:
    assert len(catalogue.checks) >= 150


@pytest.mark.parametrize("fuel", ["petrol", "diesel", "hybrid", "electric"])
def test_a_vehicle_of_any_fuel_has_well_over_a_hundred_checks(catalogue: Catalogue, fuel: str) -> None:
    assert len({check.key for check in catalogue.applicable_checks({"fuel": fuel}, "full")}) > 120


def test_the_keys_that_clients_build_on_are_there(catalogue: Catalogue) -> None:
    pads = catalogue.checks["front-brake-pads.thickness"]
    assert "front-left" in pads.part.positions
    assert pads.check.measurement is not None
    assert (pads.check.measurement.unit, pads.check.measurement.new) == ("mm", 12.0)
    assert pads.check.measurement.limits[0].value == 3.0
    boot = catalogue.checks["outer-driveshaft-boot.condition"]
    assert {seen.key: seen.grade for seen in boot.check.observations}["torn"] == "major"
    assert catalogue.checks["spare-wheel.pressure"].part.positions == ()
    assert catalogue.access_units("outer-driveshaft-boot.replace", "front-right")[0] == "wheel-off.front-right"
    assert "wheel-nut-retorque" in catalogue.jobs["outer-driveshaft-boot.replace"].job.follow_ups


def test_every_limit_names_its_source_and_how_sure_it_is(catalogue: Catalogue) -> None:
    vague = [
        (key, limit.scheme)
        for key, entry in catalogue.checks.items()
        if entry.check.measurement
        for limit in entry.check.measurement.limits
        if limit.scheme != "trade" and not re.search(r"\b(from memory|read)\b", limit.source)
    ]
    assert vague == []


def test_no_rule_of_a_state_is_passed_off_as_common_practice(catalogue: Catalogue) -> None:
    limits = [
        limit
        for entry in catalogue.checks.values()
        if entry.check.measurement
        for limit in entry.check.measurement.limits
    ]
    assert {limit.scheme for limit in limits if limit.source == COMMON_PRACTICE} <= {"trade"}


@pytest.mark.parametrize(
    ("check", "scheme", "value"),
    [
        ("tyre.tread", "eu", 1.6),  # Directive 89/459/EEC (M)
        ("tyre.tread", "uk", 1.6),  # (S)
        ("tyre.tread", "us", 1.5875),  # 2/32 in, exact (C); 49 CFR 570.9 (M)
        ("front-brake-pads.thickness", "uk", 1.5),  # (S)
        ("rear-brake-pads.thickness", "us", 1.6),  # 49 CFR 393.47(d) (R)
        ("brake-shoes.thickness", "us", 0.79375),  # 1/32 in, exact (C); 49 CFR 570.5 (M)
        ("steering-column.free-play", "us", 50.8),  # 2 in, exact (C); 49 CFR 570.7 (R)
        ("service-brake.efficiency", "eu", 58.0),  # Annex I 1.2.2 (M)
        ("service-brake.imbalance", "uk", 30.0),  # (R)
    ],
)
def test_published_limits_are_entered_as_published(catalogue: Catalogue, check: str, scheme: str, value: float) -> None:
    measurement = catalogue.checks[check].check.measurement
    assert measurement is not None
    assert {limit.scheme: limit.value for limit in measurement.limits}[scheme] == value


@pytest.mark.parametrize(
    "part",
    [
        "control-arm-front-bush",
        "control-arm-rear-bush",
        "rear-axle-bush",
        "rear-arm-bush",
        "anti-roll-bar-bush",
        "strut-top-mount",
        "rear-shock-mount",
        "shock-absorber",
        "front-brake-pads",
        "rear-brake-pads",
        "lower-ball-joint",
        "track-rod-end",
    ],
)
def test_factory_rubber_and_wearing_parts_past_200_thousand_km_are_due_on_suspicion(
    catalogue: Catalogue, part: str
) -> None:
    # common practice, no source: after 200 000 km and 15 years the first sign is to be expected on a part never changed
    book = life_book(catalogue)
    rows = np.array([row for row, slot in enumerate(catalogue.slots) if slot.part_key == part])
    clock = book.clock_km(rows, np.full(rows.size, 200_000.0), np.full(rows.size, 15.0))
    assert (clock >= book.life_km[rows] - book.pf_km[rows]).all()


def test_a_hidden_part_and_a_visible_one_are_told_apart(catalogue: Catalogue) -> None:
    assert "abs-control-unit" in catalogue.hidden_parts
    assert "outer-driveshaft-boot" not in catalogue.hidden_parts


def test_texts_for_people_are_clean(catalogue: Catalogue) -> None:
    texts = [
        (f"{key} {name}", getattr(entry.check, name))
        for key, entry in catalogue.checks.items()
        for name in ("title", "method", "tool")
    ]
    assert [place for place, text in texts if text != text.strip() or "  " in text] == []


def test_every_method_is_a_whole_instruction(catalogue: Catalogue) -> None:
    methods = {key: entry.check.method for key, entry in catalogue.checks.items()}
    assert {key for key, method in methods.items() if len(method) < 40 or method[-1] not in ".:?!)"} == set()


def test_minutes_are_honest(catalogue: Catalogue) -> None:
    # nobody looks at anything in less than six seconds, and what takes longer than half an hour is a job
    assert {key for key, entry in catalogue.checks.items() if not 0.1 <= entry.check.minutes <= 30} == set()


def test_whatever_is_done_at_a_raised_wheel_or_beneath_shows_the_stands(catalogue: Catalogue) -> None:
    for key in ("raised-corner", "underneath-front", "underneath-middle", "underneath-rear"):
        assert catalogue.stations[key].cautions[0] == "stands"
    assert "jack alone" in catalogue.cautions["stands"].text


@pytest.mark.parametrize(
    ("caution", "words"),
    [
        ("hot-coolant", "Never open a pressurised cap hot"),
        ("moving-parts", "may start alone"),
        ("brake-dust", "never blow"),
        ("airbag", "battery disconnected"),
        ("high-voltage", "qualified person"),
        ("refrigerant", "never be let out"),
        ("spring-energy", "proper compressor"),
        ("fuel", "no flame"),
        ("battery-acid", "eye protection"),
    ],
)
def test_each_danger_has_its_warning(catalogue: Catalogue, caution: str, words: str) -> None:
    assert words in catalogue.cautions[caution].text


def test_work_on_compressed_springs_warns_of_them(catalogue: Catalogue) -> None:
    silent = [
        key
        for key, entry in catalogue.jobs.items()
        if any("spring compressor" in tool for tool in entry.job.tools) and "spring-energy" not in entry.job.cautions
    ]
    assert silent == []


def test_work_that_moves_the_wheels_direction_ends_with_an_alignment(catalogue: Catalogue) -> None:
    for job in ("track-rod-end", "inner-track-rod-joint", "steering-rack", "control-arm", "lower-ball-joint"):
        assert "wheel-alignment" in catalogue.jobs[f"{job}.replace"].job.follow_ups


def test_a_wheel_that_came_off_is_tightened_again_later(catalogue: Catalogue) -> None:
    forgotten = [
        key
        for key, entry in catalogue.jobs.items()
        if any(access.partition(".")[0] == "wheel-off" for access in entry.job.access)
        and "wheel-nut-retorque" not in entry.job.follow_ups
    ]
    assert forgotten == []
    assert 50 <= catalogue.follow_ups["wheel-nut-retorque"].after_km <= 100


def test_opened_brake_hydraulics_are_bled(catalogue: Catalogue) -> None:
    for job in ("brake-hose", "brake-pipes", "brake-caliper", "wheel-cylinder", "brake-master-cylinder"):
        assert "brake-bleed" in catalogue.jobs[f"{job}.replace"].job.follow_ups


def test_titles_of_the_parts_are_told_apart(catalogue: Catalogue) -> None:
    titles = [part.title for part in catalogue.parts.values()]
    assert len(set(titles)) == len(titles)
