"""The audit trail: every write with who, from where, before and after; added to, never changed; for owners only."""

import json
from datetime import date
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction
from django.test import Client

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import AuditEntry, Vehicle
from fleetcare.fleet.services import auditing
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.services.keys import create_key, revoke_key
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.fleet.words import Role
from fleetcare.support.doing import erasing
from fleetcare.support.tenancy import TenantModel
from tests.conftest import Cast

PASSWORD = "axle stands first"
pytestmark = pytest.mark.django_db


def entries(cast: Cast, **conditions: Any) -> list[AuditEntry]:
    return list(AuditEntry.objects.within(cast.fleet).filter(**conditions).order_by("at", "id"))


def test_a_write_by_the_api_says_who_from_where_and_what_was_before(cast: Cast, api: Any) -> None:
    path = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/"
    answer = api.patch(path, {"name": "Renamed"}, REMOTE_ADDR="192.0.2.7", HTTP_X_REQUEST_ID="request-0001")
    assert answer.status_code == 200
    (entry,) = entries(cast, what="fleet.Vehicle", action="changed")
    assert entry.actor.startswith("key:")
    assert (entry.address, entry.request_id, entry.subject_id) == ("192.0.2.7", "request-0001", cast.vehicle.pk)
    assert (entry.before, entry.after) == ({"name": "Home car"}, {"name": "Renamed"})


def test_a_write_that_is_rolled_back_leaves_no_entry(cast: Cast) -> None:
    before = len(entries(cast))
    point = transaction.savepoint()
    Vehicle.objects.within(cast.fleet).update(note="never stored")
    assert len(entries(cast)) == before + 1
    transaction.savepoint_rollback(point)
    assert len(entries(cast)) == before


def test_writes_in_bulk_and_by_plain_sql_are_recorded_too(cast: Cast) -> None:
    rows = [Vehicle(fleet=cast.fleet, name=f"car {n}", first_used_on=date(2015, 1, 1)) for n in range(3)]
    Vehicle.objects.bulk_create(rows)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE fleet_vehicle SET note = 'by hand' WHERE name LIKE 'car %%'", [])
    assert len(entries(cast, what="fleet.Vehicle", action="created")) == 4
    changed = entries(cast, what="fleet.Vehicle", action="changed")
    assert [entry.after for entry in changed] == [{"note": "by hand"}] * 3


def test_what_did_not_change_is_not_recorded(cast: Cast) -> None:
    before = len(entries(cast))
    Vehicle.objects.within(cast.fleet).update(name=cast.vehicle.name)
    assert len(entries(cast)) == before


def test_entries_can_be_neither_changed_nor_deleted(cast: Cast) -> None:
    assert entries(cast)
    for change in (
        lambda rows: rows.update(actor="user:nobody"),
        lambda rows: rows.delete(),
    ):
        with pytest.raises(DatabaseError, match="records are not changed"), transaction.atomic():
            change(AuditEntry.objects.within(cast.fleet))
    with erasing():
        assert AuditEntry.objects.within(cast.fleet).delete()[0]
        # Nor is erasing itself recorded.
        Vehicle.objects.within(cast.fleet).update(note="gone soon")
    assert not entries(cast)


def test_keys_roles_invitations_and_contacts_are_recorded_without_secret_or_person(cast: Cast) -> None:
    key, text = create_key(cast.access, name="robot", role=Role.VIEWER)
    revoke_key(cast.access, key)
    save_contact(cast.access, None, vehicles=[], name="Zora Marker", email="zora@marker.example", phone="0170-marker")
    member = cast.members[Role.VIEWER].memberships.get()
    member.role = Role.PLANNER
    member.save()
    made, revoked = entries(cast, what="fleet.ApiKey")
    assert (made.action, revoked.action, list(revoked.after)) == ("created", "changed", ["revoked_at"])
    (role,) = entries(cast, what="fleet.Membership", action="changed")
    assert (role.before, role.after) == ({"role": "viewer"}, {"role": "planner"})
    (contact,) = entries(cast, what="fleet.Contact")
    assert contact.after["name"] == contact.after["email"] == contact.after["phone"] == "•"
    save_contact(cast.access, None, vehicles=[], name="Other", email="other@marker.example")
    # Nothing said is nothing to hide.
    assert entries(cast, what="fleet.Contact")[-1].after["phone"] == ""
    whole = json.dumps([[entry.before, entry.after] for entry in entries(cast)])
    for secret in (text, text.rpartition("_")[2], key.digest, "zora", "Zora", "0170-marker"):
        assert secret not in whole


def test_signing_in_and_failing_to_are_told_to_the_owners(cast: Cast, client: Client) -> None:
    user = cast.members[Role.PLANNER]
    user.set_password(PASSWORD)
    user.save()
    for password in ("wrong one here", PASSWORD):
        client.post("/sign-in/", {"login": user.email, "password": password}, REMOTE_ADDR="192.0.2.9")
    client.post("/sign-out/", REMOTE_ADDR="192.0.2.9")
    told = entries(cast, what="account")
    assert [(entry.action, entry.address, entry.subject_id) for entry in told] == [
        (action, "192.0.2.9", user.pk) for action in ("sign-in-failed", "signed-in", "signed-out")
    ]
    assert [entry.actor for entry in told] == ["stranger", f"user:{user.pk}", f"user:{user.pk}"]


def test_owners_read_the_trail_in_pages_with_names_and_values(cast: Cast, client_of: Any) -> None:
    api, path = client_of(Role.OWNER), f"/api/v1/fleets/{cast.fleet.pk}/"
    assert api.patch(f"{path}vehicles/{cast.vehicle.pk}/", {"archived": True}).status_code == 200
    page = api.get(f"{path}audit/?what=fleet.Vehicle&action=changed&limit=1").json()
    (entry,) = page["items"]
    assert entry["after"]["archived"] is True
    assert entry["actor_name"] == "key of owner"
    every, url = [], f"{path}audit/?limit=3"
    while url:
        page = api.get(url).json()
        every += [each["id"] for each in page["items"]]
        url = page["next"]
    assert len(every) == len(set(every)) == len(entries(cast))
    assert client_of(Role.PLANNER).get(f"{path}audit/").status_code == 403
    assert api.get(f"{path}audit/?subject_id=nonsense").status_code == 400


def test_reading_the_trail_takes_a_fixed_number_of_queries(
    cast: Cast, api: Any, django_assert_max_num_queries: Any
) -> None:
    path = f"/api/v1/fleets/{cast.fleet.pk}/audit/"
    for number in range(12):
        create_key(Access(cast.fleet, Role.OWNER, "system"), name=f"key {number}", role=Role.VIEWER)
        api.patch(f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/", {"note": str(number)})
    with django_assert_max_num_queries(6):
        assert len(api.get(path).json()["items"]) > 20


def test_the_page_shows_the_trail_to_owners_only(cast: Cast, client: Client) -> None:
    add_vehicle(cast.access, name="Second <car>", first_used_on=date(2011, 1, 1))
    client.force_login(cast.members[Role.OWNER])
    page = client.get(f"/fleets/{cast.fleet.pk}/audit/").content.decode()
    assert "Second &lt;car&gt;" in page
    assert "fleetcare itself" in page
    client.force_login(cast.members[Role.PLANNER])
    assert client.get(f"/fleets/{cast.fleet.pk}/audit/").status_code == 403


def test_every_table_of_fleets_is_recorded_or_has_a_reason() -> None:
    tenants = {model for model in apps.get_models() if issubclass(model, TenantModel)}
    labels = {auditing.label_of(model) for model in tenants}
    covered = {each.label: each for each in auditing.recorded_tables()}
    assert set(auditing.NOT_RECORDED) <= labels | {"inspections.LearningRound"}
    assert labels - set(auditing.NOT_RECORDED) == set(covered) - {"fleet.Fleet"}
    secret = ("digest", "secret", "token", "password", "sealed")
    assert not [
        (label, column)
        for label, each in covered.items()
        for column in each.columns
        if any(s in column for s in secret)
    ]


def test_bringing_the_tables_up_to_date_again_leaves_the_triggers_as_they_are(cast: Cast) -> None:
    # On SQLite they are dropped before and made after; either way nothing is lost in between.
    auditing.pause_recording(using="default")
    auditing.begin_recording(using="default")
    Vehicle.objects.within(cast.fleet).update(note="after")
    assert entries(cast, what="fleet.Vehicle", action="changed")
