"""Tables from elsewhere: every wrong row is named, looking stores nothing, and storing twice adds nothing."""

import io
import random
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest

from fleetcare.fleet.models import FuelFill, OdometerReading, Standing, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Forbidden, InvalidInput
from fleetcare.portal.exchange.importing import import_table
from scheduling.models import Job
from tests import factories
from tests.conftest import Cast

FIRST = date(2013, 1, 1)
Json = dict[str, Any]


def fleet_dump(cast: Cast) -> list[Any]:
    """Everything an import could change."""
    tables = (Vehicle, Standing, OdometerReading, FuelFill, Job)
    return [list(table.objects.within(cast.fleet).order_by("pk").values()) for table in tables]


def run(cast: Cast, text: str | bytes, what: str, **given: Any) -> Json:
    data = text.encode() if isinstance(text, str) else text
    return import_table(cast.access, data, {"what": what, **given})


def ten_thousand(cast: Cast) -> tuple[str, dict[int, str]]:
    """10,000 odometer readings of ten vehicles, and 37 of them spoiled in nine ways: row to code."""
    chance = random.Random(7)
    names = ["Home car"]
    for number in range(9):
        factories.vehicle(cast.fleet, name=f"Car {number}", plate=f"HX {number}", first_used_on=FIRST)
        names.append(f"hx-{number}" if number % 2 else f"Car {number}")
    Vehicle.objects.within(cast.fleet).update(first_used_on=FIRST)
    rows = []
    for number in range(10_000):
        vehicle, turn = number % 10, number // 10
        rows.append([names[vehicle], (FIRST + timedelta(days=turn * 4)).isoformat(), str(1_000 + turn * 150 + vehicle)])
    spoiled: dict[int, str] = {}
    ways = [
        (0, "nobody's car", "unknown-vehicle"), (0, "", "unknown-vehicle"), (1, "2031-01-01", "future"),
        (1, "2012-12-31", "before-first-use"), (1, "31.02.2015", "not-a-day"), (1, "", "required"),
        (2, "many", "not-a-number"), (2, "4900000", "runs-backwards"), (2, "7", "runs-backwards"),
    ]  # fmt: skip
    # Neither the first nor the last readings of a vehicle: there two that contradict each other are a matter of taste.
    for index, at in enumerate(sorted(chance.sample(range(200, 9_800), 37))):
        column, cell, code = ways[index % len(ways)]
        rows[at][column] = cell
        spoiled[at + 2] = code
    lines = ["Vehicle;Date;Odometer", *(";".join(row) for row in rows)]
    return "\r\n".join(lines), spoiled


def test_of_ten_thousand_rows_exactly_the_37_wrong_ones_are_named_and_nothing_is_stored_before_one_says_so(
    cast: Cast,
) -> None:
    text, spoiled = ten_thousand(cast)
    before = fleet_dump(cast)
    looked = run(cast, text, "odometer")
    assert {fault["row"]: fault["code"] for fault in looked["faults"]} == spoiled
    assert len(looked["faults"]) == looked["bad_rows"] == 37
    assert (looked["rows"], looked["new"], looked["repeated"], looked["stored"]) == (10_000, 9_963, 0, False)
    assert fleet_dump(cast) == before
    with pytest.raises(Conflict, match="37 rows are wrong"):
        run(cast, text, "odometer", store=True)
    assert fleet_dump(cast) == before
    stored = run(cast, text, "odometer", store=True, skip_bad_rows=True)
    assert (stored["new"], stored["stored"]) == (9_963, True)
    assert OdometerReading.objects.within(cast.fleet).count() == 9_963
    after = fleet_dump(cast)
    again = run(cast, text, "odometer", store=True, skip_bad_rows=True)
    assert (again["new"], again["repeated"], again["bad_rows"]) == (0, 9_963, 37)
    assert fleet_dump(cast) == after


@pytest.mark.parametrize("rows", [5, 50])
def test_an_import_takes_as_many_queries_however_many_rows_there_are(
    cast: Cast, rows: int, django_assert_num_queries: Any
) -> None:
    lines = [f"Home car,{date(2024, 1, 1) + timedelta(days=n)},{1_000 + n},30" for n in range(rows)]
    text = "\n".join(["vehicle,filled_on,odometer,litres", *lines])
    with django_assert_num_queries(3):  # vehicles, readings, fills
        run(cast, text, "fuel")
    # The same three, the readings of these vehicles, two inserts, the standing (3), the vehicle's revision, savepoint.
    with django_assert_num_queries(12):
        run(cast, text, "fuel", store=True)


def test_what_is_stored_is_what_the_file_said(cast: Cast) -> None:
    text = (
        "Datum;KM-Stand;Menge;Preis;voll;Bemerkung;Kennzeichen\n"
        "03.10.2024;120.500;41,25;70,12;ja;bei Regen;Home car\n"
        "17.10.2024;121.000;38,5;;nein;;Home car\n"
        "18.10.2024;;10;;;;Home car\n"
    )
    result = run(cast, text, "fuel", store=True)
    assert not result["faults"]
    assert [(told["name"], told["value"]) for told in result["told"]] == [("decimal", "comma"), ("day_order", "dmy")]
    first, second, third = FuelFill.objects.within(cast.fleet).order_by("filled_on")
    assert first.reading is not None
    assert (first.filled_on, first.litres, first.price_minor, first.full, first.note) == (
        date(2024, 10, 3), Decimal("41.250"), 7012, True, "bei Regen",
    )  # fmt: skip
    assert (first.reading.shown_km, first.reading.source) == (Decimal(120_500), "fuel")
    assert (second.price_minor, second.full) == (None, False)
    assert third.reading is None
    standing = Standing.objects.within(cast.fleet).get(vehicle=cast.vehicle)
    assert (standing.odometer_km, standing.odometer_on) == (Decimal(121_000), date(2024, 10, 17))
    assert standing.revision != standing.assessed_revision


def test_miles_and_gallons_are_stored_as_kilometres_and_litres(cast: Cast) -> None:
    text = "vehicle,date,odometer,litres\nHome car,2024-10-03,1000,10.5\n"
    run(cast, text, "fuel", store=True, distance_unit="mi", volume_unit="gal_us")
    fill = FuelFill.objects.within(cast.fleet).get()
    assert fill.reading is not None
    assert (fill.reading.shown_km, fill.litres) == (Decimal("1609.344"), Decimal("39.747"))


def test_what_a_file_does_not_tell_is_asked_and_nothing_is_stored_before_it_is_answered(cast: Cast) -> None:
    text = 'vehicle,date,odometer\nHome car,3/4/2024,"120,500"\n'
    looked = run(cast, text, "odometer")
    assert [(q["name"], q["evidence"]) for q in looked["questions"]] == [
        ("decimal", "120,500"),
        ("day_order", "3/4/2024"),
    ]
    assert (looked["new"], looked["faults"]) == (0, [])
    with pytest.raises(Conflict, match="open questions"):
        run(cast, text, "odometer", store=True)
    run(cast, text, "odometer", store=True, decimal="point", day_order="mdy")
    reading = OdometerReading.objects.within(cast.fleet).get()
    assert (reading.read_on, reading.shown_km, reading.source) == (date(2024, 3, 4), Decimal(120_500), "import")


def test_vehicles_come_with_their_traits_and_are_known_again(cast: Cast) -> None:
    text = (
        "name,plate,vin,year,first registration,fuel,gearbox,note\n"
        "Van,HX 1,,2011,2011-05-02,Diesel,manual,=HYPERLINK(1)\n"
        "Estate,HX 2,1HGCM82633A004352,,2003-04-01,,,\n"
        "Van,hx-1,,2011,2011-05-02,diesel,manual,\n"
        "Odd,HX 3,123,1700,1800-01-01,steam,,\n"
        ",HX 4,,,2011-05-02,,,\n"
    )
    looked = run(cast, text, "vehicles")
    assert [(fault["row"], fault["column"], fault["code"]) for fault in looked["faults"]] == [
        (4, "name", "twice"),
        (5, "vin", "vin-form"),
        (5, "first registration", "date"),
        (5, "year", "range"),
        (5, "fuel", "trait"),
        (6, "name", "required"),
    ]
    run(cast, text, "vehicles", store=True, skip_bad_rows=True)
    van = Vehicle.objects.within(cast.fleet).get(name="Van")
    assert (van.traits, van.model_year, van.note) == ({"fuel": "diesel", "gearbox": "manual"}, 2011, "=HYPERLINK(1)")
    assert Standing.objects.within(cast.fleet).filter(vehicle=van).exists()
    again = run(cast, text, "vehicles", store=True, skip_bad_rows=True)
    assert (again["new"], again["repeated"]) == (0, 3)


def test_work_done_long_ago_is_put_on_record_with_its_cost_and_nothing_falls_due_from_it(cast: Cast) -> None:
    head = "vehicle,date,work,odometer,labour,parts,hours,note\n"
    text = f"{head}Home car,2019-05-02,Timing belt,90000,120,89.5,3.5,by a friend\n"
    run(cast, text, "services", store=True)
    job = Job.objects.within(cast.fleet).get()
    assert job.reading is not None
    assert (job.title, job.state, job.done_on, job.hours) == ("Timing belt", "done", date(2019, 5, 2), Decimal("3.50"))
    assert (job.labour_minor, job.parts_minor, job.other_minor) == (12_000, 8_950, None)
    assert (job.reading.shown_km, job.reading.source) == (Decimal(90_000), "job")
    assert run(cast, text, "services", store=True)["repeated"] == 1


def test_a_workbook_is_imported_like_a_text(cast: Cast) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Vehicle", "Date", "Mileage"])
    book.active.append(["Home car", date(2024, 10, 3), 120500.5])
    book.active.append(["Home car", date(2024, 10, 4), "many"])
    written = io.BytesIO()
    book.save(written)
    result = run(cast, written.getvalue(), "odometer")
    assert (result["new"], result["read_as"]) == (1, "XLSX, sheet Sheet")
    assert [(f["row"], f["column"], f["value"]) for f in result["faults"]] == [(3, "Mileage", "many")]


def test_a_vehicle_may_be_given_for_the_whole_file_and_two_of_one_name_are_not_guessed_between(cast: Cast) -> None:
    text = "date,km\n2024-10-03,120500\n"
    assert run(cast, text, "odometer")["missing"] == ["vehicle"]
    assert run(cast, text, "odometer", vehicle=str(cast.vehicle.pk))["new"] == 1
    factories.vehicle(cast.fleet, name="Twin", plate="A 1")
    factories.vehicle(cast.fleet, name="twin", plate="A 2")
    result = run(cast, "vehicle,date,km\ntwin,2024-10-03,1\na1,2024-10-03,1\n", "odometer")
    assert [(f["row"], f["code"]) for f in result["faults"]] == [(2, "ambiguous-vehicle")]
    assert result["new"] == 1


def test_a_vehicle_of_another_fleet_is_as_unknown_as_none(cast: Cast, strangers: Cast) -> None:
    text = f"vehicle,date,km\n{strangers.vehicle.name},2024-10-03,1\n"
    assert run(cast, text, "odometer")["faults"][0]["code"] == "unknown-vehicle"
    fixed = run(cast, "date,km\n2024-10-03,1\n", "odometer", vehicle=str(strangers.vehicle.pk))
    assert (fixed["new"], fixed["faults"][0]["code"]) == (0, "unknown-vehicle")


@pytest.mark.parametrize(
    ("mapping", "pointer", "code"),
    [
        ({"vehicle": "vehicle", "read_on": "date", "odometer": "wheel"}, "/mapping/odometer", "unknown-column"),
        ({"vehicle": "vehicle", "read_on": "date", "odometer": "km", "mood": "km"}, "/mapping/mood", "unknown-field"),
        ({"vehicle": "vehicle", "read_on": "date"}, "/mapping/odometer", "required"),
        ({"read_on": "date", "odometer": "km"}, "/mapping/vehicle", "required"),
    ],
)
def test_a_mapping_that_does_not_fit_is_refused_by_name(cast: Cast, mapping: Json, pointer: str, code: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        run(cast, "vehicle,date,km\nHome car,2024-10-03,1\n", "odometer", mapping=mapping)
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


def test_odd_cells_are_faults_of_their_row_and_of_no_other(cast: Cast) -> None:
    text = (
        "vehicle,date,litres,note\n"
        "Home car,2024-10-03,30,a\0b\n"
        "Home car,2024-10-04,30,fine,and,more\n"
        f"Home car,2024-10-05,30,{'x' * 2001}\n"
        "Home car,2024-10-06,-3,\n"
        "Home car,2024-10-07,501,\n"
        "Home car,2024-10-08,,\n"
        'Home car,2024-10-09,30,"quoted, ""twice"""\n'
    )
    result = run(cast, text, "fuel")
    assert [(fault["row"], fault["code"]) for fault in result["faults"]] == [
        (2, "control-characters"), (3, "too-many-cells"), (4, "too-long"), (5, "range"), (6, "range"), (7, "required"),
    ]  # fmt: skip
    assert result["new"] == 1
    assert all(len(fault["value"]) <= 80 for fault in result["faults"])


def test_an_electric_vehicle_takes_no_fuel(cast: Cast) -> None:
    factories.vehicle(cast.fleet, name="Volt-free", traits={"fuel": "electric"})
    result = run(cast, "vehicle,date,litres\nVolt-free,2024-10-03,30\n", "fuel")
    assert [fault["code"] for fault in result["faults"]] == ["electric"]


def test_an_inspector_imports_nothing(cast: Cast) -> None:
    access = type(cast.access)(cast.fleet, Role.INSPECTOR, "user:x")
    with pytest.raises(Forbidden):
        import_table(access, b"vehicle,date,km\nHome car,2024-10-03,1\n", {"what": "odometer"})
