"""The walk: stations in the order of the vehicle, lifts as few as can be, cautions before the step."""

from itertools import pairwise, permutations

import pytest

from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.positions import CORNERS, axle_of, corners_of, working_corner
from inspections.catalogue.walk import stop_order, walk

EVERYTHING = {"drive": "four", "tow-bar": "yes", "brakes-rear": "drum"}


def end_needed(stop: str) -> str:
    """Which end must be off the ground at a stop: said here by hand, not read from the catalogue."""
    return {
        "underneath-front": "front",
        "underneath-middle": "either",
        "underneath-rear": "rear",
    }.get(stop, axle_of(stop.removeprefix("raised-corner-")) if stop.startswith("raised-corner") else "none")


def lifts(order: tuple[str, ...]) -> int:
    """How often an end is lifted on the way, when only one end is up at a time and "either" takes what is up."""
    count, up = 0, "none"
    for stop in order:
        needed = end_needed(stop)
        if needed == "either":
            needed = up if up != "none" else "front"
        count += needed not in ("none", up)
        up = needed
    return count


def test_the_walk_lifts_the_vehicle_as_few_times_as_any_order_could(catalogue: Catalogue) -> None:
    order = stop_order(catalogue)
    raised = tuple(stop for stop in order if end_needed(stop) != "none")
    assert len(raised) == 7
    assert lifts(order) == min(lifts(other) for other in permutations(raised)) == 2


def test_the_front_with_everything_beneath_it_comes_before_the_rear(catalogue: Catalogue) -> None:
    assert stop_order(catalogue) == (
        "documents",
        "cabin",
        "walk-round",
        "bonnet",
        "raised-corner-front-left",
        "raised-corner-front-right",
        "underneath-front",
        "underneath-middle",
        "raised-corner-rear-left",
        "raised-corner-rear-right",
        "underneath-rear",
        "road",
    )


def test_stations_on_the_ground_keep_their_order(catalogue: Catalogue) -> None:
    ground = [stop for stop in stop_order(catalogue) if end_needed(stop) == "none"]
    assert ground == ["documents", "cabin", "walk-round", "bonnet", "road"]


def test_the_road_test_comes_last(catalogue: Catalogue) -> None:
    assert walk(catalogue, EVERYTHING).stations[-1].station == "road"


def test_every_applicable_check_is_in_the_walk_exactly_once(catalogue: Catalogue) -> None:
    made = walk(catalogue, EVERYTHING)
    walked = [(check.check, check.position) for station in made.stations for check in station.checks]
    wanted = [(check.key, check.position) for check in catalogue.applicable_checks(EVERYTHING, "full")]
    assert sorted(walked) == sorted(wanted)


def test_a_corner_holds_only_what_is_looked_at_there(catalogue: Catalogue) -> None:
    for station in walk(catalogue, EVERYTHING).stations:
        if station.position:
            assert station.station == f"raised-corner-{station.position}"
            assert {check.position for check in station.checks} <= {station.position, axle_of(station.position), ""}


def test_a_check_of_an_axle_is_done_at_its_left_corner(catalogue: Catalogue) -> None:
    where = {
        (check.check, check.position): station.station
        for station in walk(catalogue, {"rear-suspension": "independent"}).stations
        for check in station.checks
    }
    assert where["anti-roll-bar-bush.condition", "front"] == "raised-corner-front-left"
    assert where["anti-roll-bar-bush.condition", "rear"] == "raised-corner-rear-left"


@pytest.mark.parametrize(
    ("position", "corner"),
    [
        ("rear-right", "rear-right"),
        ("front", "front-left"),
        ("rear", "rear-left"),
        ("left", "front-left"),
        ("right", "front-right"),
        ("", "front-left"),
        ("cylinder-3", "front-left"),
    ],
)
def test_every_position_has_a_corner_to_be_looked_at_from(position: str, corner: str) -> None:
    assert working_corner(position) == corner


def test_corners_belong_to_their_axle_and_side() -> None:
    assert corners_of("rear") == ("rear-left", "rear-right")
    assert corners_of("left") == ("front-left", "rear-left")
    assert [corners_of(corner) for corner in CORNERS] == [(corner,) for corner in CORNERS]
    assert corners_of("cylinder-1") == corners_of("") == ()


def test_every_station_with_the_vehicle_off_the_ground_warns_of_stands_first(catalogue: Catalogue) -> None:
    raised = [station for station in walk(catalogue, EVERYTHING).stations if end_needed(station.station) != "none"]
    assert len(raised) == 7
    for station in raised:
        assert station.cautions[0].key == "stands"
        assert "jack alone" in station.cautions[0].text


def test_a_station_shows_its_own_cautions_and_those_of_its_checks_once(catalogue: Catalogue) -> None:
    for station in walk(catalogue, EVERYTHING).stations:
        shown = [caution.key for caution in station.cautions]
        assert len(set(shown)) == len(shown)
        assert {caution.key for check in station.checks for caution in check.cautions} <= set(shown)


def test_minutes_are_setting_up_and_checks_together(sample: Catalogue) -> None:
    made = walk(sample, {})
    # walk-round: 0.5 to set up and 2 x 2 min of looking; a corner: 8 min up and down and one measurement of 1 min;
    # underneath: 5 min and 1 min
    assert [(station.station, station.minutes) for station in made.stations] == [
        ("walk-round", 4.5),
        ("raised-corner-front-left", 9.0),
        ("raised-corner-front-right", 9.0),
        ("underneath-front", 6.0),
    ]
    assert made.minutes == 28.5


def test_a_station_without_a_check_is_left_out(sample: Catalogue) -> None:
    stations = [station.station for station in walk(sample, {"body": "van"}, "wheels-off").stations]
    assert stations == ["raised-corner-front-left", "underneath-front"]


def test_nothing_that_applies_is_an_empty_walk(sample: Catalogue) -> None:
    made = walk(sample, {"brakes-front": "drum"})
    assert made.stations == ()
    assert made.minutes == 0


@pytest.mark.parametrize(("scheme", "limit"), [("eu", 3.0), ("uk", 1.5), ("us", 3.0)])
def test_the_limit_shown_is_that_of_the_scheme(sample: Catalogue, scheme: str, limit: float) -> None:
    check = walk(sample, {}, "wheels-off", scheme).stations[0].checks[0]
    assert check.measurement is not None
    assert check.measurement.limit == limit
    assert check.measurement.limit_source


def test_what_to_record_is_said_with_each_check(catalogue: Catalogue) -> None:
    for station in walk(catalogue, EVERYTHING).stations:
        for check in station.checks:
            assert check.measurement is not None or check.observations
            assert check.method
            assert check.tool


def test_a_five_minute_walk_stays_on_the_ground(catalogue: Catalogue) -> None:
    made = walk(catalogue, {}, "five-minute")
    assert {station.station for station in made.stations} <= {"walk-round", "cabin", "bonnet"}
    assert made.minutes <= 7


def test_shorter_sheets_take_less_time_than_the_full_one(catalogue: Catalogue) -> None:
    minutes = {sheet: walk(catalogue, {}, sheet).minutes for sheet in catalogue.sheets}
    assert all(minutes[sheet] < minutes["full"] for sheet in minutes if sheet != "full")


def test_neighbouring_stations_differ(catalogue: Catalogue) -> None:
    for earlier, later in pairwise(walk(catalogue, EVERYTHING).stations):
        assert earlier.station != later.station
