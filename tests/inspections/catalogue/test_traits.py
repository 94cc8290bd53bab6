"""The traits of a vehicle decide what applies to it."""

import pytest

from fleetcare.kernel.errors import InvalidInput
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.conditions import parse_condition
from inspections.catalogue.traits import TraitError


def parts_at(catalogue: Catalogue, **traits: str) -> dict[str, list[str]]:
    """Positions by part that a vehicle of these traits has ("brakes_front" stands for "brakes-front")."""
    named = {name.replace("_", "-"): value for name, value in traits.items()}
    found: dict[str, list[str]] = {}
    for row in catalogue.applicable_slots(named):
        found.setdefault(catalogue.slots[row].part_key, []).append(catalogue.slots[row].position)
    return found


def test_drums_in_the_rear_bring_shoes_and_take_pads_there_only(catalogue: Catalogue) -> None:
    parts = parts_at(catalogue, brakes_rear="drum")
    assert parts["brake-shoes"] == ["rear-left", "rear-right"]
    assert parts["front-brake-pads"] == ["front-left", "front-right"]
    assert "rear-brake-pads" not in parts


def test_discs_all_round_leave_no_drum_part(catalogue: Catalogue) -> None:
    parts = parts_at(catalogue, brakes_front="disc", brakes_rear="disc")
    assert not {"brake-shoes", "brake-drum", "wheel-cylinder"} & parts.keys()
    assert len(parts["brake-caliper"]) == 4


@pytest.mark.parametrize(
    ("drive", "boots", "propeller_shaft"),
    [
        ("front", ["front-left", "front-right"], False),
        ("rear", ["rear-left", "rear-right"], True),
        ("four", ["front-left", "front-right", "rear-left", "rear-right"], True),
    ],
)
def test_the_driven_wheels_have_the_driveshaft_boots(
    catalogue: Catalogue, drive: str, boots: list[str], *, propeller_shaft: bool
) -> None:
    parts = parts_at(catalogue, drive=drive)
    assert parts["outer-driveshaft-boot"] == boots
    assert parts["inner-driveshaft-boot"] == boots
    assert ("propeller-shaft-joint" in parts) == propeller_shaft


def test_a_propeller_shaft_is_looked_at_at_both_ends(catalogue: Catalogue) -> None:
    assert parts_at(catalogue, drive="rear")["propeller-shaft-joint"] == ["front", "rear"]


def test_a_live_axle_has_shaft_seals_and_no_boots(catalogue: Catalogue) -> None:
    parts = parts_at(catalogue, drive="rear", rear_suspension="live-axle", springs_rear="leaf")
    assert "axle-shaft-seal" in parts
    assert "outer-driveshaft-boot" not in parts
    assert parts["coil-spring"] == ["front-left", "front-right"]
    assert parts["leaf-spring"] == ["rear-left", "rear-right"]


def test_power_steering_fluid_is_there_only_with_hydraulic_assistance(catalogue: Catalogue) -> None:
    fluid = {"power-steering-fluid", "power-steering-pump", "power-steering-hoses"}
    assert fluid <= parts_at(catalogue, steering_assistance="hydraulic").keys()
    assert not fluid & parts_at(catalogue, steering_assistance="electric").keys()
    assert not fluid & parts_at(catalogue, steering_assistance="none").keys()


def test_a_check_of_its_own_need_goes_with_the_trait(catalogue: Catalogue) -> None:
    hydraulic = {check.key for check in catalogue.applicable_checks({"steering-assistance": "hydraulic"}, "full")}
    electric = {check.key for check in catalogue.applicable_checks({"steering-assistance": "electric"}, "full")}
    assert "steering-rack.leak" in hydraulic
    assert "steering-rack.leak" not in electric
    assert "steering-rack.play" in electric


def test_no_spare_wheel_means_a_repair_kit(catalogue: Catalogue) -> None:
    assert "spare-wheel" in parts_at(catalogue, spare_wheel="yes")
    assert "tyre-repair-kit" in parts_at(catalogue, spare_wheel="no")
    assert not {"spare-wheel", "tyre-repair-kit"} <= parts_at(catalogue).keys()


def test_what_is_not_said_takes_the_default(catalogue: Catalogue) -> None:
    complete = catalogue.with_defaults({"drive": "rear"})
    assert list(complete) == list(catalogue.traits)
    assert (complete["drive"], complete["fuel"], complete["cylinders"]) == ("rear", "petrol", "4")


def test_an_electric_vehicle_is_assumed_to_have_no_engine(catalogue: Catalogue) -> None:
    complete = catalogue.with_defaults({"fuel": "electric"})
    assert {complete[trait] for trait in ("timing-drive", "ignition")} == {"none"}
    assert (complete["cylinders"], complete["gearbox"], complete["oxygen-sensors"]) == ("0", "single-speed", "0")


def test_what_is_said_outweighs_what_is_implied(catalogue: Catalogue) -> None:
    assert catalogue.with_defaults({"fuel": "electric", "gearbox": "automatic"})["gearbox"] == "automatic"


def test_an_unknown_trait_and_value_are_both_named_with_what_is_allowed(catalogue: Catalogue) -> None:
    with pytest.raises(TraitError) as refused:
        catalogue.validate_traits({"fuel": "steam", "wings": "two", "drive": "rear"})
    fuel, wings = refused.value.trait_faults
    assert (fuel.trait, fuel.value) == ("fuel", "steam")
    assert fuel.allowed == ("petrol", "diesel", "hybrid", "electric")
    assert '"steam"' in fuel.message
    assert "diesel" in fuel.message
    assert wings.trait == "wings"
    assert "drive" in wings.allowed


def test_a_wrong_trait_is_an_input_error_with_a_pointer(catalogue: Catalogue) -> None:
    with pytest.raises(InvalidInput) as refused:
        catalogue.applicable_slots({"fuel": "steam"})
    assert [fault.pointer for fault in refused.value.faults] == ["/fuel"]


@pytest.mark.parametrize("value", [["petrol"], {"fuel": "petrol"}, 4, None, ""])
def test_a_trait_that_is_no_text_is_refused_by_name(catalogue: Catalogue, value: object) -> None:
    with pytest.raises(TraitError) as refused:
        catalogue.applicable_slots({"fuel": value})  # type: ignore[dict-item]
    assert refused.value.trait_faults[0].trait == "fuel"


def test_changing_the_answer_changes_nothing_for_the_next_who_asks(catalogue: Catalogue) -> None:
    catalogue.with_defaults({"drive": "rear"})["drive"] = "front"
    assert catalogue.with_defaults({"drive": "rear"})["drive"] == "rear"


def test_no_traits_are_valid(catalogue: Catalogue) -> None:
    catalogue.validate_traits({})
    assert catalogue.applicable_slots({})


@pytest.mark.parametrize("text", ["", "drive", "drive=", "=front", "drive=front|", "|=x|"])
def test_a_malformed_condition_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not of the form"):
        parse_condition(text)


def test_a_condition_holds_for_any_of_its_values() -> None:
    condition = parse_condition("drive=front|four")
    assert [condition.holds({"drive": drive}) for drive in ("front", "rear", "four")] == [True, False, True]
