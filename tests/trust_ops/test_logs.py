"""Log lines: structured, with the request they belong to, one line each, and nothing in them that opens or names."""

import io
import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from fleetcare.fleet.models import User
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.words import Role
from fleetcare.portal.reports.links import share_report
from fleetcare.support.logs import JsonFormatter, LineFormatter, masked
from tests.conftest import Cast

PASSWORD = "planted-password-7731"


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """Everything that is logged from now on, as the installation would write it."""
    kept, root = io.StringIO(), logging.getLogger()
    handler, level = logging.StreamHandler(kept), root.level
    handler.setFormatter(JsonFormatter())
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    quiet = [logging.getLogger(name) for name in ("django.db.backends", "django.template")]
    before = [logger.level for logger in quiet]
    for logger in quiet:
        # Their debugging lines hold every value by intent; nobody runs an installation with them.
        logger.setLevel(logging.INFO)
    yield kept
    root.removeHandler(handler)
    root.setLevel(level)
    for logger, each in zip(quiet, before, strict=True):
        logger.setLevel(each)


def record(message: str, *arguments: Any) -> logging.LogRecord:
    return logging.LogRecord("test", logging.INFO, "here", 1, message, arguments, None)


def stored_again(email: str) -> None:
    try:
        User.objects.create_user(email)
    except IntegrityError:
        logging.getLogger("test").exception("not stored for %s", email)
        raise


@pytest.mark.django_db
def test_planted_secrets_and_people_are_in_no_line(cast: Cast, lines: io.StringIO) -> None:
    user = User.objects.create_user("planted-zora@marker.example", PASSWORD, name="Planted Zora")
    key, link = cast.key(), share_report(cast.access, cast.vehicle)[1]
    client = Client()
    client.post("/sign-in/", {"login": user.email, "password": "planted-wrong-1"})
    client.post("/sign-in/", {"login": user.email, "password": PASSWORD})
    client.get(f"/r/{link}/")
    client.get("/fleets/not-here/?q=planted-search")
    api = Client(headers={"Authorization": f"Bearer {key}", "X-Request-ID": "request-0007"})
    api.get(f"/api/v1/fleets/{cast.fleet.pk}/vehicles/?q=planted-search")
    save_contact(cast.access, None, vehicles=[], name="Planted Yara", email="planted-yara@marker.example")
    # The database names the address in its error; the log must not.
    with pytest.raises(IntegrityError), transaction.atomic():
        stored_again(user.email)
    text = lines.getvalue()
    assert text.count("\n") > 5
    for marker in ("planted-", "Planted", key, key.rpartition("_")[2], link):
        assert marker not in text
    assert "***@***" in text
    told = [json.loads(line) for line in text.splitlines()]
    (asked,) = [
        line for line in told if line["request_id"] == "request-0007" and line["logger"] == "fleetcare.requests"
    ]
    assert asked["actor"].startswith("key:")
    assert (asked["method"], asked["status"]) == ("GET", 200)


@pytest.mark.parametrize("formatter", [LineFormatter(), JsonFormatter()])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\x0b", "\u2028", "\x85", "\x1b[2J"])
def test_nobody_can_begin_a_line_of_their_own(formatter: logging.Formatter, end: str) -> None:
    text = formatter.format(record("searched for %s", f"x{end}2026-01-01 INFO forged"))
    assert len(text.splitlines()) == 1
    assert "\x1b" not in text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("GET /r/abcdefghijklmnopqrstuvwxyz012345/ 200", "GET /r/***/ 200"),
        ("/fleets/01a21352-bc15-729f-86db-3f20304a9206/", "/fleets/01a21352-bc15-729f-86db-3f20304a9206/"),
        ("key fck_abcdefghjk_0011aabb is old", "key fck_*** is old"),
        ("redis://:hunter2@redis:6379/0", "redis://***@redis:6379/0"),
        ("postgres://fleet:hunter2@db/x", "postgres://***@db/x"),
        ("Key (email)=(zora.m+x@mail.example) already exists", "Key (email)=(***@***) already exists"),
        ("secret whsec_MfKQ9r8GKYqr= rotated", "secret whsec_*** rotated"),
    ],
)
def test_what_opens_or_names_is_masked_and_ids_are_not(text: str, told: str) -> None:
    assert masked(text) == told


@pytest.mark.django_db
def test_the_id_of_an_error_is_found_in_the_log(cast: Cast, lines: io.StringIO, monkeypatch: Any) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("planted fault of planted-zora@marker.example")

    monkeypatch.setattr("fleetcare.fleet.api.fleets.selectors.fleets_of", broken)
    client = Client(raise_request_exception=False)
    client.force_login(cast.members[Role.OWNER])
    answer = client.get("/api/v1/fleets/")
    assert answer.status_code == 500
    assert "planted" not in answer.content.decode()
    told = [json.loads(line) for line in lines.getvalue().splitlines()]
    (fault,) = [line for line in told if "planted fault" in line.get("exception", "")]
    assert fault["request_id"] == answer.headers["X-Request-ID"]
    assert "planted-zora" not in fault["exception"]


@pytest.mark.django_db
def test_a_refusal_is_in_the_log_with_who_asked(cast: Cast, lines: io.StringIO) -> None:
    user = cast.members[Role.VIEWER]
    client = Client()
    client.force_login(user)
    assert client.get(f"/api/v1/fleets/{cast.fleet.pk}/keys/").status_code == 403
    told = [json.loads(line) for line in lines.getvalue().splitlines()]
    (refused,) = [line for line in told if line["logger"] == "fleetcare.requests"]
    assert (refused["status"], refused["actor"]) == (403, f"user:{user.pk}")
    assert refused["path"] == f"/api/v1/fleets/{cast.fleet.pk}/keys/"
