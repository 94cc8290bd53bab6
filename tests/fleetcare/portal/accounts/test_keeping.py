"""Forms that keep fleets, vehicles, contacts and keys: by the API's rules, each fault beside its field."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleetcare.fleet.models import ApiKey, Contact, Fleet, FuelFill, OdometerReading, Vehicle
from fleetcare.fleet.services.keys import find_key
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed

VEHICLE = {"name": "Blue van", "first_used_on": "2014-03-01", "vin": "", "model_year": "2014", "trait-fuel": "diesel"}


@pytest.fixture
def browser(cast: Cast) -> Any:
    def made(role: Role = Role.OWNER) -> Client:
        client = Client()
        client.force_login(cast.members[role])
        return client

    return made


@pytest.fixture
def at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/"


@pytest.fixture
def vehicle_at(cast: Cast, at: str) -> str:
    return f"{at}vehicles/{cast.vehicle.pk}/"


def errors(answer: Any, form: str = "form") -> set[str]:
    assert answer.status_code == 422
    return set(answer.context[form].errors)


def test_a_vehicle_is_added_with_its_traits(browser: Any, cast: Cast, at: str) -> None:
    answer = browser(Role.PLANNER).post(f"{at}vehicles/new/", VEHICLE)
    added = Vehicle.objects.within(cast.fleet).get(name="Blue van")
    assert answer["Location"] == f"{at}vehicles/{added.pk}/"
    assert (added.traits, added.model_year) == ({"fuel": "diesel"}, 2014)


def test_each_fault_of_a_vehicle_stands_beside_its_field_and_what_was_typed_stays(
    browser: Any, cast: Cast, at: str
) -> None:
    said = {"name": "", "vin": "IOQ", "first_used_on": "2999-01-01", "model_year": "old", "plate": "F·1"}
    answer = browser().post(f"{at}vehicles/new/", said)
    assert errors(answer) == {"name", "model_year"}, "what is no vehicle at all"
    again = browser().post(f"{at}vehicles/new/", {**said, "name": "V", "model_year": "", "trait-fuel": "hay"})
    assert errors(again) == {"vin", "first_used_on", "trait-fuel"}
    markup = parsed(again.content)
    invalid = {field.attributes["name"] for field in markup.all("input") if field.attributes.get("aria-invalid")}
    assert invalid == {"vin", "first_used_on"}
    assert [field.attributes["value"] for field in markup.all("input") if field.attributes.get("name") == "plate"] == [
        "F·1"
    ]
    assert Vehicle.objects.within(cast.fleet).count() == 1


def test_a_vehicle_is_changed_emptied_and_archived(browser: Any, cast: Cast, vehicle_at: str) -> None:
    Vehicle.objects.within(cast.fleet).update(plate="F 1", traits={"fuel": "diesel"})
    page = browser(Role.PLANNER).get(f"{vehicle_at}change/").context["form"]
    said = {**VEHICLE, "plate": "", "trait-fuel": "", "archived": "on", "version": page["version"].value()}
    assert browser(Role.PLANNER).post(f"{vehicle_at}change/", said).status_code == 302
    cast.vehicle.refresh_from_db()
    assert (cast.vehicle.plate, cast.vehicle.traits, cast.vehicle.archived) == ("", {}, True)
    stale = browser(Role.PLANNER).post(f"{vehicle_at}change/", {**said, "name": "Second"})
    assert errors(stale) == {"__all__"}
    cast.vehicle.refresh_from_db()
    assert cast.vehicle.name == "Blue van"


def test_an_odometer_reading_is_recorded_in_the_fleets_unit(browser: Any, cast: Cast, vehicle_at: str) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(distance_unit="mi")
    said = {"what": "odometer", "odometer": "100,5", "read_on": "2026-01-05"}
    assert browser(Role.INSPECTOR).post(f"{vehicle_at}record/", said).status_code == 302
    assert OdometerReading.objects.within(cast.fleet).get().shown_km == Decimal("161.739")
    backwards = browser(Role.INSPECTOR).post(
        f"{vehicle_at}record/", {**said, "odometer": "99", "read_on": "2026-01-06"}
    )
    assert errors(backwards, "odometer") == {"odometer"}
    assert "backwards" in backwards.content.decode()


def test_fuel_is_recorded_once_however_often_the_form_is_sent(browser: Any, cast: Cast, vehicle_at: str) -> None:
    client = browser(Role.INSPECTOR)
    key = client.get(f"{vehicle_at}record/").context["fuel"]["id"].value()
    said = {
        "what": "fuel", "volume": "42,3", "unit": "L", "filled_on": "2026-01-05", "odometer": "120000",
        "price": "71.20", "full": "on", "id": str(key),
    }  # fmt: skip
    for _ in range(2):
        assert client.post(f"{vehicle_at}record/", said).status_code == 302
    fill = FuelFill.objects.within(cast.fleet).get()
    assert (fill.litres, fill.price_minor, fill.full) == (Decimal("42.3"), 7120, True)
    wrong = client.post(f"{vehicle_at}record/", {**said, "id": "", "volume": "lots", "price": "much", "odometer": ""})
    assert errors(wrong, "fuel") == {"volume", "price"}
    too_much = client.post(f"{vehicle_at}record/", {**said, "id": "", "volume": "5000"})
    assert errors(too_much, "fuel") == {"volume"}


def test_a_contact_is_added_changed_and_removed(browser: Any, cast: Cast, at: str) -> None:
    client = browser(Role.PLANNER)
    said = {"name": "Driver", "email": "d@x.example", "language": "de", "vehicles": [str(cast.vehicle.pk)]}
    assert client.post(f"{at}contacts/", said).status_code == 302
    contact = Contact.objects.within(cast.fleet).get()
    assert [link.vehicle_id for link in contact.links.all()] == [cast.vehicle.pk]
    assert cast.vehicle.name in client.get(f"{at}contacts/").content.decode()
    assert errors(client.post(f"{at}contacts/", said)) == {"email"}
    client.post(f"{at}contacts/{contact.pk}/", {**said, "name": "New driver", "vehicles": []})
    contact.refresh_from_db()
    assert (contact.name, contact.links.count()) == ("New driver", 0)
    client.post(f"{at}contacts/{contact.pk}/", {"remove": ""})
    assert not Contact.objects.within(cast.fleet).exists()


def test_a_key_is_shown_once_works_until_its_day_and_is_revoked(browser: Any, cast: Cast, at: str) -> None:
    client = browser()
    made = client.post(f"{at}keys/", {"name": "Till", "role": "viewer", "expires_on": "2099-12-31"})
    (text,) = parsed(made.content).of_class("secret")
    key = find_key(text.text.strip())
    assert key is not None
    assert key.expires_at is not None
    assert key.expires_at.date().isoformat() == "2099-12-31"
    assert "no-store" in made["Cache-Control"]
    assert text.text.strip() not in client.get(f"{at}keys/").content.decode()
    past = client.post(f"{at}keys/", {"name": "Old", "role": "viewer", "expires_on": "2020-01-01"})
    assert errors(past) == {"expires_on"}
    client.post(f"{at}keys/", {"revoke": str(key.pk)})
    assert find_key(text.text.strip()) is None
    assert not ApiKey.objects.within(cast.fleet).filter(name="Old").exists()


def test_a_fleet_is_made_by_whoever_is_signed_in_and_its_currency_is_checked(db: Any) -> None:
    client = Client()
    client.force_login(factories.UserFactory())
    said = {
        "name": "Mine", "kind": "club", "currency": "sek", "time_zone": "Europe/Stockholm", "distance_unit": "km",
        "limit_scheme": "eu",
    }  # fmt: skip
    assert errors(client.post("/fleets/new/", {**said, "currency": "XXQ", "time_zone": "Moon/Base"})) == {
        "time_zone",
        "currency",
    }
    answer = client.post("/fleets/new/", said)
    fleet = Fleet.objects.get(name="Mine")
    assert answer["Location"] == f"/fleets/{fleet.pk}/"
    assert (fleet.currency, fleet.kind) == ("SEK", "club")


def test_an_owner_changes_how_the_fleet_reckons(browser: Any, cast: Cast, at: str) -> None:
    said = {
        "name": "New name", "distance_unit": "mi", "time_zone": "Europe/Paris", "limit_scheme": "uk",
        "labour_per_hour": "20,50", "price_factor": "1.25",
    }  # fmt: skip
    assert browser().post(f"{at}settings/", said).status_code == 302
    cast.fleet.refresh_from_db()
    assert (cast.fleet.name, cast.fleet.labour_per_hour_minor, cast.fleet.price_factor) == (
        "New name",
        2050,
        Decimal("1.25"),
    )
    assert errors(browser().post(f"{at}settings/", {**said, "labour_per_hour": "dear"})) == {"labour_per_hour"}


@pytest.mark.parametrize(
    ("page", "least"),
    [
        ("settings/", Role.OWNER), ("keys/", Role.OWNER), ("contacts/", Role.PLANNER), ("vehicles/new/", Role.PLANNER),
        ("change/", Role.PLANNER), ("record/", Role.INSPECTOR), ("members/", Role.OWNER),
    ],
)  # fmt: skip
def test_nobody_changes_what_their_role_may_not(
    browser: Any, at: str, vehicle_at: str, strangers: Cast, page: str, least: Role
) -> None:
    address = (vehicle_at if page in {"change/", "record/"} else at) + page
    said = {**VEHICLE, "what": "odometer", "odometer": "5", "read_on": "2026-01-01", "email": "a@b.example",
            "role": "viewer", "act": "invite", "time_zone": "UTC"}  # fmt: skip
    for role in Role:
        answer = browser(role).post(address, said)
        assert (answer.status_code == 403) is not role.includes(least), role
    stranger = Client()
    stranger.force_login(strangers.members[Role.OWNER])
    assert stranger.post(address, said).status_code == 404
    assert stranger.get(address).status_code == 404
    assert Client().post(address, said)["Location"].startswith("/sign-in/")
    forger = Client(enforce_csrf_checks=True)
    forger.cookies = browser(Role.OWNER).cookies
    assert forger.post(address, said).status_code == 403


def test_forms_ask_the_same_questions_of_few_and_many(
    browser: Any, cast: Cast, at: str, django_assert_num_queries: Any
) -> None:
    # session, user, membership with fleet; then: vehicles, contacts, their links | keys | nothing
    wanted = {"contacts/": 6, "keys/": 4, "settings/": 3, "vehicles/new/": 3}
    client = browser()

    def ask() -> None:
        for page, count in wanted.items():
            with django_assert_num_queries(count, info=page):
                client.get(at + page)

    client.post(f"{at}contacts/", {"name": "D", "email": "d@x.example", "vehicles": [str(cast.vehicle.pk)]})
    ask()
    for number in range(5):
        vehicle = factories.vehicle(cast.fleet, name=f"Car {number}")
        said = {"name": "D", "email": f"d{number}@x.example", "vehicles": [str(vehicle.pk)]}
        assert client.post(f"{at}contacts/", said).status_code == 302
        client.post(f"{at}keys/", {"name": f"key {number}", "role": "viewer"})
    ask()


def test_every_field_of_every_form_has_a_label(browser: Any, cast: Cast, at: str, vehicle_at: str) -> None:
    pages = [f"{at}{page}" for page in ("settings/", "keys/", "contacts/", "vehicles/new/", "members/")]
    pages += [f"{vehicle_at}{page}" for page in ("change/", "record/")] + ["/fleets/new/", "/account/"]
    for page in pages:
        answer = browser().get(page)
        assert answer.status_code == 200, page
        markup = parsed(answer.content)
        labels = {label.attributes.get("for") for label in markup.all("label")}
        ids = [element.attributes["id"] for element in markup.elements if "id" in element.attributes]
        assert len(ids) == len(set(ids)), page
        for field in [*markup.all("input"), *markup.all("select"), *markup.all("textarea")]:
            if field.attributes.get("type") != "hidden":
                assert field.attributes["id"] in labels, (page, field)
        assert not re.search(rb"<script(?![^>]*src=)|\sstyle=", answer.content), page
