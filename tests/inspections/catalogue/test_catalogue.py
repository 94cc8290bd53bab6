"""The catalogue in memory: slots, keys, what must be taken apart."""

import dataclasses

import pytest

from inspections.catalogue.catalogue import Catalogue, Slot


def test_every_slot_is_found_by_its_part_and_position(catalogue: Catalogue) -> None:
    for row, slot in enumerate(catalogue.slots):
        assert catalogue.slot_index[slot.part_key, slot.position] == row
    assert len(catalogue.slot_index) == len(catalogue.slots)


def test_a_part_without_positions_has_one_slot_with_an_empty_position(sample: Catalogue) -> None:
    assert sample.slots == (Slot("pads", "front-left"), Slot("pads", "front-right"), Slot("discs", ""))


def test_checks_and_jobs_are_found_by_part_and_key(sample: Catalogue) -> None:
    assert list(sample.checks) == ["pads.thickness", "pads.condition", "discs.surface"]
    assert sample.jobs["pads.replace"].part is sample.parts["pads"]
    assert sample.checks["discs.surface"].check.station == "underneath-front"
    assert sample.system_of_part["discs"] == "brakes"


def test_nobody_can_change_a_loaded_catalogue(sample: Catalogue) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        sample.slots = ()  # type: ignore[misc]
    with pytest.raises(TypeError):
        sample.parts["wings"] = sample.parts["pads"]  # type: ignore[index]
    with pytest.raises(AttributeError):
        sample.parts["pads"].title = "Wings"  # type: ignore[misc]


def test_a_part_without_a_visible_sign_is_hidden(sample: Catalogue) -> None:
    assert sample.hidden_parts == {"discs"}


def test_a_position_of_its_own_need_goes_with_the_trait(sample: Catalogue) -> None:
    assert sample.applicable_slots({"body": "car"}) == (0, 1, 2)
    assert sample.applicable_slots({"body": "van"}) == (0, 2)
    assert sample.applicable_slots({"brakes-front": "drum"}) == ()


def test_the_full_sheet_holds_every_applicable_check(sample: Catalogue) -> None:
    full = [(check.key, check.position, check.slot) for check in sample.applicable_checks({}, "full")]
    assert full == [
        ("pads.thickness", "front-left", 0),
        ("pads.condition", "front-left", 0),
        ("pads.thickness", "front-right", 1),
        ("pads.condition", "front-right", 1),
        ("discs.surface", "", 2),
    ]


def test_a_shorter_sheet_holds_only_what_names_it(sample: Catalogue) -> None:
    short = [(check.key, check.position) for check in sample.applicable_checks({"body": "van"}, "wheels-off")]
    assert short == [("pads.thickness", "front-left"), ("discs.surface", "")]


def test_an_unknown_sheet_is_refused(sample: Catalogue) -> None:
    with pytest.raises(KeyError):
        sample.applicable_checks({}, "yearly")


def test_the_same_traits_give_the_very_same_answer(catalogue: Catalogue) -> None:
    said = {**catalogue.with_defaults({}), "drive": "rear"}
    assert catalogue.applicable_slots({"drive": "rear"}) is catalogue.applicable_slots(said)
    assert catalogue.applicable_checks({"drive": "rear"}, "full") is catalogue.applicable_checks(said, "full")


def test_every_short_sheet_is_part_of_the_full_one(catalogue: Catalogue) -> None:
    full = set(catalogue.applicable_checks({"drive": "four"}, "full"))
    for sheet in catalogue.sheets:
        assert set(catalogue.applicable_checks({"drive": "four"}, sheet)) <= full


def test_a_job_at_one_wheel_opens_that_wheel(catalogue: Catalogue) -> None:
    units = catalogue.access_units("outer-driveshaft-boot.replace", "front-right")
    assert units == ("wheel-off.front-right", "driveshaft-out.front-right")


def test_a_job_of_an_axle_opens_both_of_its_wheels(sample: Catalogue) -> None:
    units = sample.access_units("pads.replace", "front-left")
    assert units == ("wheel-off.front-left", "wheel-off.front-right")
    assert sample.access_units("pads.replace", "front-right") == units


def test_a_job_of_one_axle_leaves_the_other_axle_alone(catalogue: Catalogue) -> None:
    assert catalogue.access_units("tyre.replace", "rear-right") == ("wheel-off.rear-left", "wheel-off.rear-right")
    assert len(catalogue.access_units("tyre.swap-axles", "rear-right")) == 4


def test_a_place_in_the_access_outweighs_the_position(sample: Catalogue) -> None:
    assert sample.access_units("discs.replace", "") == (
        "wheel-off.front-left",
        "wheel-off.front-right",
        "undertray-off",
    )


def test_access_hours_count_each_unit_once(sample: Catalogue) -> None:
    # two wheels at 0.25 h and the undertray at 0.3 h
    assert sample.access_hours(sample.access_units("discs.replace", "")) == pytest.approx(0.8)


def test_every_job_at_every_position_names_units_of_known_access(catalogue: Catalogue) -> None:
    for key, entry in catalogue.jobs.items():
        for position in entry.part.positions or ("",):
            units = catalogue.access_units(key, position)
            assert len(set(units)) == len(units)
            assert all(unit.partition(".")[0] in catalogue.access for unit in units)
            assert all(("." in unit) == (catalogue.access[unit.partition(".")[0]].per != "vehicle") for unit in units)
