"""Signing in, and keeping others out."""

import re
from typing import Any
from urllib.parse import urlsplit

import pytest
from allauth.account.models import EmailAddress
from django.conf import settings
from django.core import mail
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client

from fleetcare.fleet.models import Membership, User
from fleetcare.fleet.words import Role
from tests.conftest import Cast

EMAIL, PASSWORD = "owner@home.example", "axle stands first"


@pytest.fixture(autouse=True)
def _nobody_tried_yet() -> None:
    cache.clear()


@pytest.fixture
def owner(cast: Cast) -> User:
    user = cast.members[Role.OWNER]
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(client: Client, password: str = PASSWORD, email: str = EMAIL, **extra: Any) -> Any:
    return client.post("/sign-in/", {"login": email, "password": password}, **extra)


def signed_in(client: Client) -> bool:
    return bool(client.get("/session/").json()["user"])


def link_in_mail() -> str:
    (message,) = mail.outbox
    (address,) = re.findall(r"https?://\S+", str(message.body))
    return urlsplit(address).path


def test_the_session_gets_a_new_name_on_signing_in_and_ends_on_signing_out(owner: User) -> None:
    client = Client()
    client.get("/sign-in/")
    before = client.session.session_key
    assert sign_in(client).status_code == 302
    inside = client.cookies["session"].value
    assert inside != before
    client.post("/sign-out/")
    thief = Client()
    thief.cookies["session"] = inside
    assert not signed_in(thief)


def test_eight_wrong_passwords_are_enough_and_the_owner_still_comes_in_from_elsewhere(owner: User) -> None:
    guesser, home = Client(REMOTE_ADDR="192.0.2.7"), Client(REMOTE_ADDR="192.0.2.8")
    for _ in range(8):
        sign_in(guesser, "wrong")
    refused = sign_in(guesser, PASSWORD)
    assert refused.status_code == 200
    assert "Too many" in refused.content.decode()
    assert not signed_in(guesser)
    assert sign_in(home, PASSWORD).status_code == 302
    assert signed_in(home)


def test_seven_wrong_passwords_are_forgiven(owner: User) -> None:
    client = Client()
    for _ in range(7):
        sign_in(client, "wrong")
    assert sign_in(client).status_code == 302


def test_signing_in_does_not_say_who_has_an_account(owner: User) -> None:
    def page(email: str) -> str:
        return re.sub(r'value="[^"]*"', "", sign_in(Client(), "wrong", email).content.decode())

    assert page(EMAIL) == page("nobody@home.example")


def test_a_forgotten_password_answers_the_same_for_everybody_and_mails_only_who_there_is(owner: User) -> None:
    answers = [Client().post("/password/reset/", {"email": email}) for email in (EMAIL, "nobody@home.example")]
    assert {(answer.status_code, answer["Location"]) for answer in answers} == {(302, "/password/reset/sent/")}
    assert [message.to for message in mail.outbox] == [[EMAIL]]


def test_the_link_of_a_reset_works_once_and_ends_other_sessions(owner: User) -> None:
    elsewhere = Client()
    sign_in(elsewhere)
    client = Client()
    client.post("/password/reset/", {"email": EMAIL})
    link = link_in_mail()
    form = client.get(link, follow=True).redirect_chain[-1][0]
    new = "a wheel chock behind each wheel"
    assert client.post(form, {"password1": new, "password2": new})["Location"] == "/password/changed/"
    assert not signed_in(elsewhere)
    assert sign_in(Client()).status_code == 200
    assert sign_in(client, new).status_code == 302
    assert "used already" in Client().get(link, follow=True).content.decode()


@pytest.mark.parametrize("password", ["short", "password123", "owner@home.example"])
def test_a_password_that_others_would_guess_is_refused(owner: User, password: str) -> None:
    client = Client()
    sign_in(client)
    said = {"oldpassword": PASSWORD, "password1": password, "password2": password}
    answer = client.post("/account/password/", said)
    assert answer.status_code == 200
    assert answer.context["form"].errors
    owner.refresh_from_db()
    assert owner.check_password(PASSWORD)


def test_a_password_of_a_hundred_characters_works(owner: User) -> None:
    client, new = Client(), "torque wrench " * 7 + "!!"
    assert len(new) == 100
    sign_in(client)
    said = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert client.post("/account/password/", said).status_code == 302
    assert sign_in(Client(), new).status_code == 302


def test_changing_the_password_ends_other_sessions_and_tells_the_owner(owner: User) -> None:
    here, there = Client(), Client()
    sign_in(here)
    sign_in(there)
    new = "a wheel chock behind each wheel"
    here.post("/account/password/", {"oldpassword": PASSWORD, "password1": new, "password2": new})
    assert (signed_in(here), signed_in(there)) == (True, False)
    assert [message.to for message in mail.outbox] == [[EMAIL]]


def test_passwords_are_kept_with_argon2() -> None:
    # The suite itself swaps in a fast one; what is shipped is read from the source.
    source = (settings.BASE_DIR / "fleetcare" / "config" / "settings.py").read_text()
    assert 'PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]' in source


def test_the_other_sessions_can_be_ended(owner: User) -> None:
    here, there = Client(HTTP_USER_AGENT="The workshop's tablet"), Client(HTTP_USER_AGENT="A lost phone")
    sign_in(here)
    sign_in(there)
    assert "A lost phone" in here.get("/account/sessions/").content.decode()
    here.post("/account/sessions/")
    assert (signed_in(here), signed_in(there)) == (True, False)


@pytest.mark.parametrize("page", ["/account/passkeys/add/", "/account/codes/make/"])
def test_what_guards_the_account_asks_again_who_it_is(owner: User, page: str) -> None:
    client = Client()
    client.force_login(owner)
    answer = client.get(page)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/again/")
    assert client.post(answer["Location"], {"password": "wrong"}).status_code == 200
    assert client.get(page).status_code == 302
    assert client.post(answer["Location"], {"password": PASSWORD}).status_code == 302
    assert client.get(page).status_code == 200


def test_a_new_address_counts_once_its_mail_was_answered(owner: User) -> None:
    client = Client()
    sign_in(client)
    asked = client.post("/account/email/", {"email": "new@home.example", "action_add": ""})["Location"]
    assert asked.startswith("/account/again/")
    assert not mail.outbox
    client.post(asked, {"password": PASSWORD})
    owner.refresh_from_db()
    assert owner.email == EMAIL
    link = next(urlsplit(found).path for found in re.findall(r"https?://\S+", str(mail.outbox[0].body)))
    client.get(link)
    owner.refresh_from_db()
    assert owner.email == EMAIL, "a scanner that follows links changes nothing"
    client.post(link)
    owner.refresh_from_db()
    assert owner.email == "new@home.example"


def test_nobody_signs_up_where_owners_invite(db: Any) -> None:
    said = {"email": "new@home.example", "password1": PASSWORD}
    assert "By invitation" in Client().get("/sign-up/").content.decode()
    assert "By invitation" in Client().post("/sign-up/", said).content.decode()
    assert not User.objects.exists()
    assert "sign-up" not in Client().get("/sign-in/").content.decode()


def test_where_anybody_may_sign_up_the_address_is_confirmed_first(db: Any, settings: Any) -> None:
    settings.OPEN_SIGN_UP, settings.ACCOUNT_EMAIL_VERIFICATION = True, "mandatory"
    client = Client()
    client.post("/sign-up/", {"email": "new@home.example", "password1": PASSWORD})
    assert not signed_in(client)
    client.post(link_in_mail())
    assert EmailAddress.objects.get(email="new@home.example").verified
    assert sign_in(client, email="new@home.example").status_code == 302


def test_the_readers_language_and_zone_win_on_pages_and_not_in_the_api(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    answer = client.post("/account/", {"name": "Rita", "language": "de", "time_zone": "Pacific/Auckland"})
    assert answer.status_code == 302
    assert '<html lang="de"' in client.get("/account/", HTTP_ACCEPT_LANGUAGE="fr").content.decode()
    fleets = client.get("/api/v1/fleets/").json()["items"]
    assert re.search(r"(Z|\+00:00)$", fleets[0]["created_at"])


def test_a_zone_that_there_is_not_is_told_beside_its_field_and_kept(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    answer = client.post("/account/", {"name": "Rita", "language": "xx", "time_zone": "Moon/Base"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"language", "time_zone"}
    assert 'value="Rita"' in answer.content.decode()


def test_the_first_owner_is_made_by_command_and_sets_the_password_by_link(db: Any, capsys: Any) -> None:
    call_command("owner", "First@Home.example", "--fleet", "Home", "--time-zone", "Europe/Berlin")
    link = urlsplit(re.findall(r"https?://\S+", capsys.readouterr().out)[0]).path
    client = Client()
    form = client.get(link, follow=True).redirect_chain[-1][0]
    client.post(form, {"password1": PASSWORD, "password2": PASSWORD})
    assert sign_in(client, email="first@home.example").status_code == 302
    membership = Membership.objects.get(user__email="first@home.example")
    assert (membership.fleet.name, membership.role) == ("Home", "owner")
    with pytest.raises(CommandError, match="IANA"):
        call_command("owner", "other@home.example", "--fleet", "X", "--time-zone", "Moon/Base")
    assert not User.objects.filter(email="other@home.example").exists()


def test_a_password_manager_finds_where_to_change_the_password(client: Client) -> None:
    assert client.get("/.well-known/change-password")["Location"] == "/account/password/"
