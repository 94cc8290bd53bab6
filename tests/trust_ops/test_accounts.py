"""What guards a login beyond its password, and how much chance is in what opens something."""

import base64
import re

import pytest
from allauth.mfa.models import Authenticator
from django.core import mail
from django.test import Client

from fleetcare.fleet.words import Role
from fleetcare.support.secret_links import make_token
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
PASSWORD, ANOTHER = "axle stands first", "jack on firm ground"


def test_a_password_set_anew_by_mail_leaves_the_second_step_in_place(cast: Cast, client: Client) -> None:
    user = cast.members[Role.OWNER]
    user.set_password(PASSWORD)
    user.save()
    Authenticator.objects.create(user=user, type="recovery_codes", data={"seed": "planted", "used_mask": 0})
    passkey = {"name": "key", "credential": {"id": "planted"}, "passwordless": False}
    Authenticator.objects.create(user=user, type="webauthn", data=passkey)
    client.post("/password/reset/", {"email": user.email})
    link = re.search(r"/password/reset/[^\s/]+/", str(mail.outbox[-1].body))
    assert link is not None
    form = client.get(link[0], follow=True)
    assert client.post(form.redirect_chain[-1][0], {"password1": ANOTHER, "password2": ANOTHER}).status_code == 302
    assert set(Authenticator.objects.filter(user=user).values_list("type", flat=True)) == {"recovery_codes", "webauthn"}
    answer = Client()
    came = answer.post("/sign-in/", {"login": user.email, "password": ANOTHER})
    assert came["Location"].startswith("/sign-in/second/")
    assert answer.get("/account/").status_code == 302


def test_every_secret_has_at_least_128_random_bits(cast: Cast) -> None:
    links = {make_token()[0] for _ in range(50)}
    keys = {cast.key().rpartition("_")[2] for _ in range(5)}
    assert (len(links), len(keys)) == (50, 5)
    for secret in (*[base64.urlsafe_b64decode(link) for link in links], *map(bytes.fromhex, keys)):
        assert len(secret) * 8 >= 128
    # Every place of every link varies: no bits are given away by a form.
    assert all(len({link[place] for link in links}) > 10 for place in range(32))
