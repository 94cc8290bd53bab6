"""Fleets and accounts that leave: a time to change one's mind, then really gone, photos, files, trail and sessions."""

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core import mail
from django.test import Client
from django.utils import timezone

from fleetcare.fleet.models import AccountLeaving, Fleet, FleetLeaving, Invitation, Membership, User
from fleetcare.fleet.services.invitations import invite
from fleetcare.fleet.services.leaving import GRACE, leave_account, leave_fleet, sole_owned
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict
from fleetcare.portal import leaving
from fleetcare.support.tenancy import TenantModel
from tests import factories
from tests.conftest import Cast, make_cast
from tests.tenancy.given import ids_of

pytestmark = pytest.mark.django_db
PASSWORD = "axle stands first"


@pytest.fixture
def on_commit(django_capture_on_commit_callbacks: Any) -> Any:
    return lambda: django_capture_on_commit_callbacks(execute=True)


@pytest.fixture(autouse=True)
def _no_list_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leaving, "_kept_list", lambda: tmp_path / "erased")


def later(days: float) -> None:
    """As if the days had gone by."""
    for model in (FleetLeaving, AccountLeaving):
        for row in model.objects.all():
            model.objects.filter(pk=row.pk).update(erase_after=row.erase_after - timedelta(days))


def rows_of(fleet: Fleet) -> dict[str, int]:
    tables = [model for model in apps.get_models() if issubclass(model, TenantModel)]
    found = {model._meta.label: model.objects.within(fleet.pk).count() for model in tables}
    return {label: count for label, count in found.items() if count}


def test_a_fleet_is_there_until_its_day_and_then_nothing_of_it_is(on_commit: Any, strangers: Cast) -> None:
    cast = make_cast("Leaving")
    ids_of(cast)
    before = rows_of(strangers.fleet)
    media = Path(settings.MEDIA_ROOT)
    kept_before = {path for path in media.rglob("*") if path.is_file()}
    assert len(rows_of(cast.fleet)) > 30
    leave_fleet(cast.access)
    later(GRACE.days - 0.1)
    assert leaving.erase_what_left() == 0
    later(0.2)
    with on_commit():
        assert leaving.erase_what_left() == 1
    assert not Fleet.objects.filter(pk=cast.fleet.pk).exists()
    assert rows_of(cast.fleet) == {}
    gone = kept_before - {path for path in media.rglob("*") if path.is_file()}
    # The photo and its small one, the export, the uploaded table.
    assert len(gone) >= 4
    assert rows_of(strangers.fleet) == before


def test_each_owner_gets_a_link_that_stops_it_without_signing_in(cast: Cast, client: Client, on_commit: Any) -> None:
    second = factories.UserFactory(email="second@home.example")
    factories.MembershipFactory(fleet=cast.fleet, user=second, role=Role.OWNER)
    mail.outbox.clear()
    with on_commit():
        leave_fleet(cast.access)
    assert {to for message in mail.outbox for to in message.to} == {second.email, cast.members[Role.OWNER].email}
    path = re.search(r"/stay/[\w-]+/", str(mail.outbox[0].body))
    assert path is not None
    # Readers of mail follow links: looking stops nothing.
    assert client.get(path[0]).status_code == 200
    assert FleetLeaving.objects.within(cast.fleet).exists()
    assert client.post(path[0]).status_code == 200
    assert not FleetLeaving.objects.within(cast.fleet).exists()
    assert client.get(path[0]).status_code == 404


def test_an_owner_asks_by_name_over_the_api_and_stops_it(cast: Cast, client_of: Any) -> None:
    api, path = client_of(Role.OWNER), f"/api/v1/fleets/{cast.fleet.pk}/leaving/"
    assert api.get(path).json() == {"asked_by": None, "asked_at": None, "erase_after": None}
    assert api.post(path, {"name": "another"}).status_code == 400
    asked = api.post(path, {"name": cast.fleet.name})
    assert asked.status_code == 201
    assert api.post(path, {"name": cast.fleet.name}).json() == asked.json() == api.get(path).json()
    assert client_of(Role.PLANNER).delete(path).status_code == 403
    assert api.delete(path).status_code == 204
    assert api.get(path).json()["erase_after"] is None


def test_the_only_owner_of_a_fleet_with_members_cannot_leave(cast: Cast) -> None:
    owner = cast.members[Role.OWNER]
    assert sole_owned(owner) == [cast.fleet]
    with pytest.raises(Conflict, match="Name another owner first"):
        leave_account(owner)
    Membership.objects.within(cast.fleet).filter(user=cast.members[Role.PLANNER]).update(role=Role.OWNER)
    leave_account(owner)
    # Whoever becomes the only owner meanwhile stays until there is another.
    Membership.objects.within(cast.fleet).filter(user=cast.members[Role.PLANNER]).update(role=Role.PLANNER)
    later(GRACE.days + 1)
    assert leaving.erase_what_left() == 0
    assert User.objects.filter(pk=owner.pk).exists()


def test_an_erased_account_leaves_no_row_session_or_log_line(
    cast: Cast, client: Client, on_commit: Any, caplog: pytest.LogCaptureFixture
) -> None:
    user = User.objects.create_user("marker-zora@leaving.example", PASSWORD, name="Zora Marker")
    factories.MembershipFactory(fleet=cast.fleet, user=user, role=Role.VIEWER)
    alone = factories.FleetFactory(name="Hers alone")
    factories.MembershipFactory(fleet=alone, user=user, role=Role.OWNER)
    invite(make_cast("Inviting").access, email=user.email, role=Role.VIEWER)
    client.post("/sign-in/", {"login": user.email, "password": PASSWORD})
    assert client.get("/account/leave/").status_code == 200
    assert client.post("/account/leave/", {"name": "?"})["Location"].startswith("/account/again/")
    client.post("/account/again/", {"password": PASSWORD})
    assert client.get("/account/leave/").status_code == 200
    assert client.post("/account/leave/", {"name": "somebody else"}).status_code == 422
    assert client.post("/account/leave/", {"name": user.email}).status_code == 302
    later(GRACE.days + 1)
    with on_commit(), caplog.at_level("DEBUG"):
        assert leaving.erase_what_left() == 1
    assert client.get("/account/").status_code == 302
    assert not Session.objects.exists()
    assert not Fleet.objects.filter(pk=alone.pk).exists()
    assert not Invitation.objects.filter(email=user.email).exists()
    dump = "\n".join(
        repr(row) for model in apps.get_models() for row in model._base_manager.values_list() if model is not Session
    )
    assert "marker-zora" not in dump
    assert "Zora Marker" not in dump
    assert caplog.records
    assert "marker" not in caplog.text.lower()


def test_what_a_backup_brings_back_is_erased_again(on_commit: Any) -> None:
    cast = make_cast("Back")
    key = cast.fleet.pk
    with on_commit():
        leaving.erase_fleet(cast.fleet)
    assert leaving.erase_again() == 0
    back = factories.FleetFactory(name="Back", id=key)
    factories.vehicle(back)
    with on_commit():
        assert leaving.erase_again() == 1
    assert not Fleet.objects.filter(pk=key).exists()


def test_the_page_asks_for_the_name_and_a_recent_password(cast: Cast) -> None:
    owner, path = cast.members[Role.OWNER], f"/fleets/{cast.fleet.pk}/leave/"
    owner.set_password(PASSWORD)
    owner.save()
    client = Client()
    client.post("/sign-in/", {"login": owner.email, "password": PASSWORD})
    asked = client.post(path, {"name": cast.fleet.name})
    assert asked["Location"].startswith("/account/again/")
    assert not FleetLeaving.objects.within(cast.fleet).exists()
    client.post("/account/again/", {"password": PASSWORD})
    assert client.post(path, {"name": "wrong"}).status_code == 422
    assert client.post(path, {"name": cast.fleet.name}).status_code == 302
    assert "Stop it" in client.get(path).content.decode()
    assert FleetLeaving.objects.within(cast.fleet).get().erase_after > timezone.now() + GRACE - timedelta(minutes=1)
    assert client.post(path, {"keep": "1"}).status_code == 302
    assert not FleetLeaving.objects.within(cast.fleet).exists()
