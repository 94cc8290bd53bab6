"""Invitations: a mail, a link, a membership; once, for the invited address only."""

import re
import smtplib
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client
from django.utils import timezone

from fleetcare.fleet.access import fleet_access
from fleetcare.fleet.models import Invitation, Membership, User
from fleetcare.fleet.services.invitations import MOST_A_DAY, invite
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast

GUEST, PASSWORD = "guest@elsewhere.example", "axle stands first"


@pytest.fixture
def owner(cast: Cast) -> Client:
    client = Client()
    client.force_login(cast.members[Role.OWNER])
    return client


def ask(owner: Client, cast: Cast, email: str = GUEST, role: str = "inspector") -> Any:
    return owner.post(f"/fleets/{cast.fleet.pk}/members/", {"act": "invite", "email": email, "role": role})


def link() -> str:
    return urlsplit(re.findall(r"https?://\S+", str(mail.outbox[-1].body))[0]).path


def role_of(cast: Cast, email: str = GUEST) -> str | None:
    return Membership.objects.within(cast.fleet).filter(user__email=email).values_list("role", flat=True).first()


def test_who_has_no_account_makes_one_and_is_in(owner: Client, cast: Cast) -> None:
    assert ask(owner, cast).status_code == 302
    (message,) = mail.outbox
    assert (message.to, [kind for _, kind in message.alternatives]) == ([GUEST], ["text/html"])
    guest = Client()
    assert "inspector" in guest.get(link()).content.decode().lower()
    weak = guest.post(link(), {"name": "Gast", "password": "12345678"})
    assert weak.status_code == 422
    assert "password" in weak.context["form"].errors
    assert 'value="Gast"' in weak.content.decode()
    assert role_of(cast) is None
    joined = guest.post(link(), {"name": "Gast", "password": PASSWORD})
    assert joined["Location"] == f"/fleets/{cast.fleet.pk}/"
    assert guest.get(joined["Location"]).status_code == 200
    assert role_of(cast) == "inspector"
    assert Client().post("/sign-in/", {"login": GUEST, "password": PASSWORD}).status_code == 302


def test_who_has_an_account_signs_in_and_joins_and_twice_is_once(owner: Client, cast: Cast) -> None:
    user = factories.UserFactory(email=GUEST)
    user.set_password(PASSWORD)
    user.save()
    ask(owner, cast)
    guest = Client()
    assert f"/sign-in/?next={link()}" in guest.get(link()).content.decode()
    taken = guest.post(link(), {"name": "Thief", "password": "another pass phrase"})
    user.refresh_from_db()
    assert user.check_password(PASSWORD)
    assert taken.status_code == 200
    guest.force_login(user)
    for _ in range(2):
        assert guest.post(link())["Location"] == f"/fleets/{cast.fleet.pk}/"
    assert Membership.objects.within(cast.fleet).filter(user=user).count() == 1


def test_looking_at_an_invitation_joins_nothing(owner: Client, cast: Cast) -> None:
    user = factories.UserFactory(email=GUEST)
    ask(owner, cast)
    guest = Client()
    guest.force_login(user)
    guest.get(link())
    assert role_of(cast) is None


def test_another_address_cannot_use_it(owner: Client, cast: Cast) -> None:
    ask(owner, cast)
    other = Client()
    other.force_login(factories.UserFactory(email="other@elsewhere.example"))
    assert "another address" in other.get(link()).content.decode()
    other.post(link())
    assert role_of(cast) is role_of(cast, "other@elsewhere.example") is None


def test_revoked_and_run_out_and_unknown_and_of_a_former_owner_look_the_same(owner: Client, cast: Cast) -> None:
    def page(path: str) -> tuple[int, str]:
        answer = Client().get(path)
        return answer.status_code, re.sub(r"csrf\S+", "", answer.content.decode())

    nowhere = page("/invitations/" + "x" * 32 + "/")
    assert nowhere[0] == 404
    ask(owner, cast)
    row = Invitation.objects.within(cast.fleet).get()
    owner.post(f"/fleets/{cast.fleet.pk}/members/", {"act": "revoke", "invitation": row.pk})
    assert page(link()) == nowhere
    ask(owner, cast)
    Invitation.objects.within(cast.fleet).filter(revoked_at=None).update(expires_at=timezone.now())
    assert page(link()) == nowhere
    ask(owner, cast)
    assert page(link())[0] == 200
    Membership.objects.within(cast.fleet).filter(role=Role.OWNER).update(role=Role.PLANNER)
    assert page(link()) == nowhere


def test_who_was_removed_does_not_come_back_by_the_old_link(owner: Client, cast: Cast) -> None:
    user = factories.UserFactory(email=GUEST)
    ask(owner, cast)
    guest = Client()
    guest.force_login(user)
    guest.post(link())
    Membership.objects.within(cast.fleet).filter(user=user).delete()
    assert guest.post(link()).status_code == 404
    assert role_of(cast) is None


def test_inviting_again_replaces_the_first_link(owner: Client, cast: Cast) -> None:
    ask(owner, cast)
    first = link()
    ask(owner, cast, role="viewer")
    assert Client().get(first).status_code == 404
    assert Client().get(link()).status_code == 200


def test_a_member_is_not_invited_again(owner: Client, cast: Cast) -> None:
    answer = ask(owner, cast, "Viewer@Home.example")
    assert answer.status_code == 422
    assert "member already" in answer.content.decode()
    assert not mail.outbox


def test_a_fleet_sends_so_many_a_day_and_no_more(cast: Cast, owner: Client) -> None:
    for number in range(MOST_A_DAY):
        invite(cast.access, email=f"guest{number}@elsewhere.example", role=Role.VIEWER)
    assert ask(owner, cast).status_code == 422
    assert len(mail.outbox) == MOST_A_DAY
    Invitation.objects.within(cast.fleet).update(created_at=timezone.now() - timedelta(hours=25))
    assert ask(owner, cast).status_code == 302


def test_a_mail_that_nobody_takes_leaves_no_invitation(
    owner: Client, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> None:
        raise smtplib.SMTPServerDisconnected

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    assert ask(owner, cast).status_code == 422
    assert not Invitation.objects.within(cast.fleet).exists()


def test_the_api_lists_makes_and_revokes_and_never_shows_the_secret(api: Any, cast: Cast) -> None:
    at = f"/api/v1/fleets/{cast.fleet.pk}/invitations/"
    made = api.post(at, {"email": GUEST, "role": "viewer"})
    assert made.status_code == 201
    secret = link().split("/")[2]
    listed = api.get(at)
    assert [row["email"] for row in listed.json()["items"]] == [GUEST]
    assert secret not in made.content.decode() + listed.content.decode()
    assert api.delete(made["Location"]).status_code == 204
    assert api.get(made["Location"]).json()["revoked_at"]
    assert Client().get(link()).status_code == 404
    wrong = api.post(at, {"email": "no address", "role": "king"})
    assert [fault["pointer"] for fault in wrong.json()["errors"]] == ["/email", "/role"]


@pytest.mark.parametrize("role", [Role.PLANNER, Role.INSPECTOR, Role.VIEWER])
def test_only_owners_invite_and_see_who_is_invited(cast: Cast, role: Role) -> None:
    invite(cast.access, email=GUEST, role=Role.VIEWER)
    client = Client()
    client.force_login(cast.members[role])
    assert ask(client, cast, "second@elsewhere.example").status_code == 403
    assert GUEST not in client.get(f"/fleets/{cast.fleet.pk}/members/").content.decode()


def test_roles_change_members_go_and_the_last_owner_stays(owner: Client, cast: Cast) -> None:
    at = f"/fleets/{cast.fleet.pk}/members/"
    viewer = Membership.objects.within(cast.fleet).get(role=Role.VIEWER)
    own = Membership.objects.within(cast.fleet).get(role=Role.OWNER)
    assert owner.post(at, {"act": "role", "member": viewer.pk, "role": "planner"}).status_code == 302
    viewer.refresh_from_db()
    assert viewer.role == "planner"
    owner.post(at, {"act": "remove", "member": viewer.pk})
    assert not Membership.objects.within(cast.fleet).filter(pk=viewer.pk).exists()
    kept = owner.post(at, {"act": "remove", "member": own.pk})
    assert kept.status_code == 422
    assert "at least one owner" in kept.content.decode()


def test_members_ask_the_same_questions_of_few_and_many(
    owner: Client, cast: Cast, django_assert_num_queries: Any
) -> None:
    # session, user, membership with fleet; members, invitations
    with django_assert_num_queries(5):
        owner.get(f"/fleets/{cast.fleet.pk}/members/")
    for number in range(9):
        factories.MembershipFactory(fleet=cast.fleet, role=Role.VIEWER)
        invite(cast.access, email=f"guest{number}@elsewhere.example", role=Role.VIEWER)
    with django_assert_num_queries(5):
        owner.get(f"/fleets/{cast.fleet.pk}/members/")


def test_an_invitation_by_a_person_names_them(cast: Cast) -> None:
    user: User = cast.members[Role.OWNER]
    invite(fleet_access(None, user, cast.fleet.pk), email=GUEST, role=Role.VIEWER)
    assert str(user) in str(mail.outbox[0].body)
