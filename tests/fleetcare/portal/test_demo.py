"""The demo: plausible invented fleets, the same on every machine, entered through the services, once."""

import json
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest
from django.core.management import CommandError, call_command

from fleetcare.fleet.models import Fleet, FuelFill, OdometerReading, Standing, User, Vehicle
from fleetcare.fleet.services.keys import find_key
from fleetcare.kernel import vin
from fleetcare.kernel.dates import DAYS_PER_YEAR
from fleetcare.kernel.grades import Grade, worst
from fleetcare.kernel.units import KM_PER_MILE
from fleetcare.portal.demo.chance import seeded
from fleetcare.portal.demo.events import Event, Fill, Look, Reading, Renewal, Service, Work
from fleetcare.portal.demo.fixtures import DemoFleet, DemoVehicle, demo_fleets
from fleetcare.portal.demo.hidden import is_measured, new_part, wearing_figure
from fleetcare.portal.demo.history import history
from fleetcare.portal.demo.loading import load_fleets
from fleetcare.portal.demo.looking import wearing_value
from fleetcare.portal.demo.owner import demo_owner
from fleetcare.portal.demo.showing import shown
from fleetcare.portal.management.commands import demo
from inspections.catalogue.grading import grade_result
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.service_templates import service_templates
from inspections.models import Finding, FittedPart, Inspection, Result
from inspections.services.fuel import fuel_use
from scheduling.models import Estimate, Job, KnowHow, ServiceDone, ServiceRule

WRITTEN_ON = date(2026, 11, 25)
"""The day the fixtures were written: ages are held against it, not against today."""


def fleet_of(key: str) -> DemoFleet:
    return next(fleet for fleet in demo_fleets() if fleet.key == key)


@cache
def stories() -> dict[tuple[str, str], tuple[Event, ...]]:
    """Every vehicle's past up to the day of writing."""
    return {
        (fleet.key, vehicle.name): history(default_catalogue(), fleet, vehicle, WRITTEN_ON)
        for fleet, vehicle in all_vehicles()
    }


def past(fleet: DemoFleet, vehicle: DemoVehicle) -> tuple[Event, ...]:
    return stories()[fleet.key, vehicle.name]


def only(fleet: DemoFleet, *names: str) -> DemoFleet:
    """A fleet reduced to a few of its vehicles and what is told of them."""
    kept = tuple(vehicle for vehicle in fleet.vehicles if vehicle.name in names)
    know_how = tuple(note for note in fleet.know_how if note.vehicle in names)
    planned = tuple(each for each in fleet.planned if each.vehicle in names)
    return msgspec.structs.replace(fleet, vehicles=kept, contacts=(), estimates=(), know_how=know_how, planned=planned)


def all_vehicles() -> list[tuple[DemoFleet, DemoVehicle]]:
    return [(fleet, vehicle) for fleet in demo_fleets() for vehicle in fleet.vehicles]


def seen_grades(fleet: DemoFleet, look: Look) -> list[Grade]:
    grades = []
    for result in look.results:
        check = default_catalogue().checks[result["check"]].check
        value = result["measurement"]["value"] if "measurement" in result else None
        found = grade_result(check, value, result.get("observations", ()), fleet.limit_scheme)
        grades.append(max(found, Grade.from_word(result.get("grade", "sound"))))
    return grades


class TestFixtures:
    def test_there_are_a_household_of_three_a_club_of_twelve_and_a_workshop_of_forty(self) -> None:
        sizes = {fleet.kind: len(fleet.vehicles) for fleet in demo_fleets()}
        assert sizes == {"household": 3, "club": 12, "workshop": 40}

    def test_every_vin_is_well_formed_and_fits_its_model_year(self) -> None:
        vins = [vehicle.vin for _, vehicle in all_vehicles()]
        assert len(set(vins)) == len(vins)
        for _, vehicle in all_vehicles():
            assert vin.form_fault(vehicle.vin) is None, vehicle.name
            assert vin.warnings(vehicle.vin) == (), vehicle.name
            assert vehicle.model_year in vin.model_years(vehicle.vin), vehicle.name

    def test_every_trait_is_one_the_catalogue_knows(self) -> None:
        for _, vehicle in all_vehicles():
            default_catalogue().validate_traits(vehicle.traits)

    def test_vehicles_are_five_to_twenty_five_years_old_and_of_every_kind(self) -> None:
        ages = [(WRITTEN_ON - vehicle.first_used_on).days / DAYS_PER_YEAR for _, vehicle in all_vehicles()]
        assert min(ages) >= 5
        assert max(ages) <= 25
        complete = [default_catalogue().with_defaults(vehicle.traits) for _, vehicle in all_vehicles()]
        assert {traits["fuel"] for traits in complete} == {"petrol", "diesel", "hybrid", "electric"}
        assert {traits["drive"] for traits in complete} == {"front", "rear", "four"}
        assert {traits["brakes-rear"] for traits in complete} == {"disc", "drum"}

    def test_every_fleet_has_a_neglected_or_dangerous_vehicle_and_a_well_kept_one(self) -> None:
        for fleet in demo_fleets():
            characters = {vehicle.character for vehicle in fleet.vehicles}
            assert "careful" in characters
            assert characters & {"neglected", "dangerous"}

    def test_names_are_unique_and_contacts_name_vehicles_of_their_fleet(self) -> None:
        for fleet in demo_fleets():
            names = [vehicle.name for vehicle in fleet.vehicles]
            assert len(set(names)) == len(names)
            assert {name for contact in fleet.contacts for name in contact.vehicles} <= set(names)

    def test_every_vehicle_of_the_workshop_has_a_customer(self) -> None:
        workshop = fleet_of("workshop")
        told = {name for contact in workshop.contacts for name in contact.vehicles}
        assert told == {vehicle.name for vehicle in workshop.vehicles}

    def test_whatever_names_a_vehicle_or_the_catalogue_names_one_that_is_there(self) -> None:
        catalogue = default_catalogue()
        for fleet in demo_fleets():
            names = {vehicle.name for vehicle in fleet.vehicles}
            assert {each.vehicle for each in (*fleet.know_how, *fleet.planned, *fleet.estimates)} <= names
            assert {each.contact for each in fleet.estimates} <= {contact.name for contact in fleet.contacts}
            for note in fleet.know_how:
                assert (note.part or note.job or note.check) in {*catalogue.parts, *catalogue.jobs, *catalogue.checks}
            for service in fleet.services:
                assert service.template in service_templates() or (service.title and service.every_months)

    def test_a_misspelt_field_is_refused_by_name(self, tmp_path: Path) -> None:
        (tmp_path / "odd.toml").write_text('key = "odd"\nkolor = "red"\n')
        with pytest.raises(msgspec.ValidationError, match="kolor"):
            demo_fleets(tmp_path)


class TestHistory:
    def test_the_same_day_tells_the_same_story(self) -> None:
        fleet = fleet_of("household")
        again = history(default_catalogue(), fleet, fleet.vehicles[1], WRITTEN_ON)
        assert again == past(fleet, fleet.vehicles[1])

    def test_two_vehicles_of_one_model_have_different_pasts(self) -> None:
        workshop = fleet_of("workshop")
        twins = [vehicle for vehicle in workshop.vehicles if vehicle.model == "Thistle"][:2]
        assert past(workshop, twins[0]) != past(workshop, twins[1])

    @pytest.mark.parametrize("today", [WRITTEN_ON, date(2028, 2, 29), date(2031, 1, 1)])
    def test_everything_happens_in_order_between_first_use_and_today(self, today: date) -> None:
        for fleet in (fleet_of("household"), fleet_of("club")):
            for vehicle in fleet.vehicles:
                days = [event.on for event in history(default_catalogue(), fleet, vehicle, today)]
                assert days == sorted(days)
                assert vehicle.first_used_on <= days[0]
                assert days[-1] < today

    def test_there_are_several_looks_at_every_vehicle_but_the_forgotten_ones(self) -> None:
        for fleet, vehicle in all_vehicles():
            looks = [event for event in past(fleet, vehicle) if isinstance(event, Look)]
            if vehicle.character == "unseen":
                assert len(looks) == 1, vehicle.name
            else:
                assert len(looks) >= 2, vehicle.name
                assert looks[-1].sheet == "full" or fleet.kind == "workshop"

    def test_a_dangerous_vehicle_was_last_seen_dangerous(self) -> None:
        dangerous = [(fleet, vehicle) for fleet, vehicle in all_vehicles() if vehicle.character == "dangerous"]
        assert dangerous
        for fleet, vehicle in dangerous:
            last = [event for event in past(fleet, vehicle) if isinstance(event, Look)][-1]
            assert worst(seen_grades(fleet, last)) == Grade.DANGEROUS, vehicle.name

    def test_findings_are_a_small_share_of_what_is_looked_at(self) -> None:
        for fleet, vehicle in all_vehicles():
            last = [event for event in past(fleet, vehicle) if isinstance(event, Look)][-1]
            grades = seen_grades(fleet, last)
            assert sum(grade > Grade.SOUND for grade in grades) < 0.2 * len(grades), vehicle.name

    def test_what_was_not_examined_says_why(self) -> None:
        fleet = fleet_of("club")
        results = [
            result
            for vehicle in fleet.vehicles
            for event in past(fleet, vehicle)
            if isinstance(event, Look)
            for result in event.results
        ]
        left_out = [result["not_examined"] for result in results if "not_examined" in result]
        assert left_out
        assert all(left_out)

    def test_the_odometer_of_the_club_shows_whole_miles(self) -> None:
        club = fleet_of("club")
        for event in past(club, club.vehicles[0]):
            miles = event.shown_km / KM_PER_MILE
            assert abs(miles - round(miles)) < Decimal("0.001")

    def test_a_replaced_odometer_starts_again_from_nothing(self) -> None:
        club = fleet_of("club")
        (vehicle,) = [each for each in club.vehicles if each.odometer_replaced_years_ago]
        figures = [event.shown_km for event in past(club, vehicle)]
        replacements = [event for event in past(club, vehicle) if isinstance(event, Reading) and event.replacement]
        assert len(replacements) == 1
        drops = [after for before, after in pairwise(figures) if after < before]
        assert drops == [replacements[0].shown_km]
        assert drops[0] < 100

    def test_a_perfect_gauge_would_see_a_part_wear_without_a_step_back(self) -> None:
        rng = seeded("gauge")
        for part in default_catalogue().parts.values():
            if not is_measured(part):
                continue
            truth = new_part(part, 1.0, WRITTEN_ON, 0.0, rng)
            for figure in filter(None, map(wearing_figure, part.checks)):
                clocks = [truth.life_km * step / 10 for step in range(13)]
                values = [wearing_value(figure, truth, clock_km, "eu") for clock_km in clocks]
                assert values[0] == figure.new
                assert values == sorted(values, reverse=figure.direction == "falls")

    def test_no_place_is_renewed_twice_on_one_day(self) -> None:
        fleet = fleet_of("household")
        for vehicle in fleet.vehicles:
            renewals = [event for event in past(fleet, vehicle) if isinstance(event, Renewal)]
            places = [(event.on, event.part_key, event.position) for event in renewals]
            for event in past(fleet, vehicle):
                if isinstance(event, Work):
                    part_key = default_catalogue().jobs[event.job_key].part.key
                    places += [(event.on, part_key, position) for position in event.positions or ("",)]
            assert len(set(places)) == len(places)


def counts() -> list[int]:
    tables = (
        Fleet, Vehicle, OdometerReading, Inspection, Result, Finding, FittedPart, User, FuelFill, Job, KnowHow,
        ServiceRule, ServiceDone,
    )  # fmt: skip
    return [table._default_manager.count() for table in tables]  # type: ignore[attr-defined]


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> Sequence[DemoFleet]:
    """Two fleets of one vehicle each, and a data folder of their own."""
    settings.DATA_DIR = tmp_path
    fleets = (only(fleet_of("household"), "The little red one"), only(fleet_of("club"), "Number 5, the Orve"))
    monkeypatch.setattr(demo, "demo_fleets", lambda: fleets)
    return fleets


def run(**options: Any) -> str:
    out = StringIO()
    call_command("demo", stdout=out, **options)
    return out.getvalue()


@pytest.mark.django_db
class TestLoading:
    def test_a_second_load_finds_the_fleets_and_adds_nothing(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        owner, _ = demo_owner(tmp_path)
        load_fleets(owner, small)
        before = counts()
        load_fleets(owner, small)
        assert counts() == before
        assert min(before) > 0

    def test_every_event_of_the_story_is_stored(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        fleet = small[0]
        owner, _ = demo_owner(tmp_path)
        load_fleets(owner, [fleet], WRITTEN_ON)
        story = past(fleet, fleet.vehicles[0])
        works = [event for event in story if isinstance(event, Work)]
        assert Inspection.objects.within(fleet.id).count() == sum(isinstance(event, Look) for event in story)
        fitted = FittedPart.objects.within(fleet.id).filter(fitted_on__isnull=False)
        renewed_by_jobs = sum(max(len(work.positions), 1) for work in works)
        assert fitted.count() == sum(isinstance(event, Renewal) for event in story) + renewed_by_jobs
        assert FuelFill.objects.within(fleet.id).count() == sum(isinstance(event, Fill) for event in story)
        done = Job.objects.within(fleet.id).filter(state="done")
        assert sorted(done.values_list("done_on", flat=True)) == sorted(work.on for work in works)
        assert works
        assert all(hours > 0 for hours in done.values_list("hours", flat=True))
        by_hand = ServiceDone.objects.within(fleet.id).filter(job_id=None)
        assert by_hand.count() == sum(isinstance(event, Service) for event in story)

    def test_everything_is_assessed_once_loaded(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        owner, _ = demo_owner(tmp_path)
        load_fleets(owner, small)
        for standing in Standing.objects.within(small[0].id):
            assert standing.assessed_revision == standing.revision
            assert standing.score is not None
            assert standing.do_not_drive

    def test_the_distance_goes_on_through_the_replaced_odometer(
        self, small: Sequence[DemoFleet], tmp_path: Path
    ) -> None:
        owner, _ = demo_owner(tmp_path)
        load_fleets(owner, small)
        latest = OdometerReading.objects.within(small[1].id).order_by("-read_on", "-total_km").first()
        assert latest is not None
        assert latest.shown_km < 60_000 < latest.total_km

    def test_the_estate_is_found_to_have_grown_thirsty(self, tmp_path: Path) -> None:
        owner, _ = demo_owner(tmp_path)
        fleet = only(fleet_of("household"), "The estate")
        (access,) = load_fleets(owner, [fleet], WRITTEN_ON)
        vehicle = Vehicle.objects.within(fleet.id).get()
        trend = fuel_use(access.fleet, [vehicle]).trend
        assert trend.rise_standing.tolist() == [True]
        assert trend.rise_fraction.low[0] < fleet.vehicles[0].thirstier_by < trend.rise_fraction.high[0]

    def test_the_worst_findings_become_an_estimate_and_planned_jobs(self, tmp_path: Path) -> None:
        owner, _ = demo_owner(tmp_path)
        whole = fleet_of("workshop")
        vehicles = tuple(each for each in whole.vehicles if each.name in {"Rabenow: Ilka", "Moorbach: Fell"})
        contacts = tuple(each for each in whole.contacts if set(each.vehicles) <= {each.name for each in vehicles})
        planned = tuple(each for each in whole.planned if each.vehicle == "Moorbach: Fell")
        know_how: tuple[Any, ...] = ()
        fleet = msgspec.structs.replace(whole, vehicles=vehicles, contacts=contacts, planned=planned, know_how=know_how)
        load_fleets(owner, [fleet], WRITTEN_ON)
        (estimate,) = Estimate.objects.within(fleet.id)
        assert (estimate.state, estimate.customer) == ("sent", "Kilian Rabenow")
        assert [line.options.count() for line in estimate.lines.order_by("line")] == [2, 1, 1, 1]
        live = Job.objects.within(fleet.id).filter(state="planned")
        assert {job.planned_on for job in live} == {WRITTEN_ON + timedelta(days=1)}
        assert live.count() == 2

    def test_a_load_that_breaks_off_leaves_nothing(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        owner, _ = demo_owner(tmp_path)
        before = counts()
        good = small[0].vehicles[0]
        broken = msgspec.structs.replace(small[0], vehicles=(good, msgspec.structs.replace(good, name="Twin")))
        with pytest.raises(Exception, match="VIN"):
            load_fleets(owner, [broken])
        assert counts() == before


@pytest.mark.django_db
class TestCommand:
    def test_json_gives_ids_and_working_keys(self, small: Sequence[DemoFleet]) -> None:
        answer = json.loads(run(json=True))
        assert [fleet["id"] for fleet in answer["fleets"]] == [str(fleet.id) for fleet in small]
        assert [fleet["kind"] for fleet in answer["fleets"]] == ["household", "club"]
        for fleet in answer["fleets"]:
            key = find_key(fleet["key"])
            assert key is not None
            assert (str(key.fleet_id), key.role) == (fleet["id"], "owner")

    def test_each_run_revokes_the_keys_of_the_one_before(self, small: Sequence[DemoFleet]) -> None:
        first, second = json.loads(run(json=True)), json.loads(run(json=True))
        assert all(find_key(fleet["key"]) is None for fleet in first["fleets"])
        assert all(find_key(fleet["key"]) is not None for fleet in second["fleets"])

    def test_the_showpiece_says_do_not_drive_first_and_the_disclaimer_last(self, small: Sequence[DemoFleet]) -> None:
        lines = [line for line in run(no_serve=True).splitlines() if line]
        assert lines[0].startswith("The little red one")
        assert lines[2].startswith("DO NOT DRIVE")
        text = " ".join(lines)
        assert text.index("Worth doing now") < text.index("no certificate") < text.index("Sign in at")

    def test_the_log_in_is_made_once_and_private(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        first, second = demo_owner(tmp_path), demo_owner(tmp_path)
        assert first == second
        assert first[0].check_password(first[1].password)
        assert (tmp_path / "demo-login").stat().st_mode & 0o077 == 0

    def test_a_lost_log_in_file_is_replaced_and_works(self, small: Sequence[DemoFleet], tmp_path: Path) -> None:
        demo_owner(tmp_path)
        (tmp_path / "demo-login").unlink()
        user, login = demo_owner(tmp_path)
        assert User.objects.get(pk=user.pk).check_password(login.password)

    def test_fresh_is_refused_where_others_keep_vehicles(self, small: Sequence[DemoFleet], strangers: Any) -> None:
        before = counts()
        with pytest.raises(CommandError, match="more here than the demo"):
            run(no_serve=True, fresh=True)
        assert counts() == before


@pytest.mark.django_db(transaction=True)
def test_fresh_begins_anew_where_there_is_only_the_demo(small: Sequence[DemoFleet]) -> None:
    run(json=True)
    before = counts()
    run(json=True, fresh=True)
    assert counts() == before


def document(**changes: Any) -> dict[str, Any]:
    euros = {"amount": "1234.50", "currency": "EUR"}
    job = {
        "rank": 2,
        "grade": "dangerous",
        "title": "Renew the hose",
        "positions": ["front-left"],
        "cost_now": euros,
        "cost_of_waiting": euros,
        "hours": 1.25,
        "before_driving": True,
        "reasons": ["a safety part is dangerous"],
    }
    other = {**job, "rank": 1, "grade": None, "title": "Clean the drain", "before_driving": False, "positions": []}
    return {"items": [other, job], "can_wait": [], "total_cost": euros, **changes}


def condition(**changes: Any) -> dict[str, Any]:
    return {
        "score": 20.4,
        "interval": {"low": 12.0, "high": 31.0},
        "coverage_fraction": 0.82,
        "worst_grade": "dangerous",
        "do_not_drive": True,
        "dangers": [{"title": "Front brake hose", "position": "front-left", "why": "It is cracked."}],
        "next_year_cost": {"amount": "2500.00", "currency": "EUR"},
        "contributions": [{"points": 9.4, "grade": None, "title": "Subframe", "position": None}],
        "disclaimer": "An aid, no certificate.",
        **changes,
    }


class TestShowing:
    def test_what_must_be_done_before_driving_comes_first_whatever_its_rank(self) -> None:
        text = "\n".join(shown("A car", condition(), document()))
        assert text.index("DO NOT DRIVE") < text.index("Condition 20 of 100")
        assert text.index("Renew the hose, front left") < text.index("Clean the drain")
        assert "1,234.50 EUR" in text

    def test_nothing_to_do_is_said_in_words(self) -> None:
        lines = list(shown("A car", condition(do_not_drive=False, dangers=[]), document(items=[])))
        assert "Nothing is worth doing now." in lines
        assert not any("DO NOT DRIVE" in line for line in lines)

    def test_no_line_is_wider_than_a_terminal(self) -> None:
        long = document()
        long["items"][0]["title"] = "Renew " + "a very long name of a part " * 4
        long["items"][0]["reasons"] = ["because " * 40]
        assert max(map(len, shown("A car", condition(), long))) <= 100
