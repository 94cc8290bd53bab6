"""What every answer says of itself, and that reading changes nothing: every address there is, asked once."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.apps import apps
from django.conf import settings
from django.test import Client
from django.utils import timezone

from fleetcare.fleet.models import ApiKey
from fleetcare.fleet.words import Role
from fleetcare.portal.reports.links import share_report
from inspections.services.walking import start_walk
from scheduling.models import CalendarLink
from scheduling.services.calendar_links import make_calendar_link
from tests.conftest import Cast, make_cast
from tests.scheduling.work_given import PADS_JOB, sent
from tests.tenancy.given import ids_of
from tests.trust_ops.addresses import filled, patterns

pytestmark = pytest.mark.django_db

NO_ADDRESS = {"^api/", "^password/reset/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$"}
"""A last resort, and a form that only a mail leads to."""
PUBLIC_TO_CACHES = re.compile(r"/(manifest\.webmanifest|sw\.js|offline/|api/docs/|api/v1/schema/)$")
"""The same for everybody: these may be kept."""
TIMES_OF_USE = {ApiKey: {"last_used_at"}, CalendarLink: {"last_read_at"}}
"""Noted at most once an hour: that somebody reads is what is written down."""


@dataclass
class Home:
    cast: Cast
    paths: list[str]
    """Every address of the fleet, of its links and of everybody."""

    def clients(self) -> Iterator[tuple[str, Client]]:
        signed_in = Client()
        signed_in.force_login(self.cast.members[Role.OWNER])
        yield "owner", signed_in
        yield "key", Client(headers={"Authorization": f"Bearer {self.cast.key()}"})
        yield "nobody", Client()


@pytest.fixture
def home(db: Any) -> Home:
    cast = make_cast("Home")
    access, vehicle = cast.access, cast.vehicle
    ids: dict[str, Any] = {**ids_of(cast), "job_key": PADS_JOB, "part_key": "front-brake-pads", "pk": 1}
    ids |= {"station_key": "in-the-cabin", "key": "unknown", "note_id": ids["know_how_id"]}
    now = timezone.now().date()
    walk, _ = start_walk(access, vehicle, sheet="five-minute", inspected_on=now, shown_km=200_000, inspector="R. Amsel")
    member = cast.members[Role.OWNER].memberships.get()
    tokens = {
        "e/": sent(access, vehicle)[1],
        "r/": share_report(access, vehicle)[1],
        "calendar/": urlsplit(make_calendar_link(access, member=member.pk)[1]).path.split("/")[-1].removesuffix(".ics"),
        "reminders/stop/": "unknown",
        "invitations/": "unknown",
    }
    paths = set()
    for route, _pattern in patterns():
        token = next((token for start, token in tokens.items() if route.startswith(start)), None)
        of_walk = {"inspection_id": walk.pk} if "/walks/" in route else {}
        path = filled(route, {**ids, **of_walk, "token": token})
        if route not in NO_ADDRESS:
            assert path is not None, route
            paths.add(path)
    return Home(cast, sorted(paths))


def dump() -> dict[str, list[Any]]:
    """Every row of every table."""
    rows = {}
    for model in apps.get_models():
        left_out = TIMES_OF_USE.get(model, set())
        columns = [field.attname for field in model._meta.local_concrete_fields if field.name not in left_out]
        rows[model._meta.label] = sorted(map(repr, model._base_manager.values_list(*columns)))
    return rows


def faults_of(path: str, answer: Any) -> list[str]:
    """What the headers of an answer leave open."""
    said, wrong = answer.headers, []
    policy = said.get("Content-Security-Policy", "")
    if not path.startswith("/api/docs/") and ("unsafe" in policy or "default-src 'none'" not in policy):
        wrong.append(f"CSP {policy!r}")
    if "frame-ancestors 'none'" not in policy or said.get("X-Frame-Options") != "DENY":
        wrong.append("may be framed")
    if said.get("X-Content-Type-Options") != "nosniff":
        wrong.append("may be sniffed")
    if said.get("Referrer-Policy") not in {"same-origin", "no-referrer"}:
        wrong.append("tells other sites where it is")
    if said.get("Cross-Origin-Opener-Policy") not in {"same-origin", "unsafe-none" if path == "/api/docs/" else ""}:
        wrong.append("leaves its window to other sites")
    if not said.get("X-Request-ID"):
        wrong.append("no request id")
    if not PUBLIC_TO_CACHES.search(path) and "private" not in said.get("Cache-Control", "no-store, private"):
        wrong.append(f"kept by caches: {said['Cache-Control']}")
    if not PUBLIC_TO_CACHES.search(path) and "Cache-Control" not in said:
        wrong.append("says nothing to caches")
    # No origin is let in, and nothing tells strangers what this runs on.
    wrong += [name for name in ("Access-Control-Allow-Origin", "Server", "X-Powered-By") if name in said]
    return wrong


@pytest.mark.slow
def test_every_address_answers_with_safe_headers_and_reading_changes_nothing(home: Home) -> None:
    wrong, changed = [], []
    done: Counter[str] = Counter()
    for who, client in home.clients():
        # What a first request leaves behind: the session's own row.
        client.get("/account/", secure=False)
        before = dump()
        for path in home.paths:
            if who == "nobody" and path.startswith("/api/v1/fleets/"):
                continue
            answer = client.get(path)
            done[who] += answer.status_code == 200
            if answer.streaming:
                b"".join(answer)
            if answer.status_code >= 500:
                wrong.append((who, path, answer.status_code))
            wrong += [(who, path, fault) for fault in faults_of(path, answer)]
        after = dump()
        changed += [(who, table) for table in before if before[table] != after[table]]
    assert not wrong, sorted({(re.sub("[0-9a-f-]{36}|[\\w-]{32}", "*", path), fault) for _, path, fault in wrong})
    assert not changed, changed
    # Only what answered was looked at: most of all that an owner may read, and the API for a key.
    assert done["owner"] > 0.7 * len(home.paths)
    assert done["key"] > 0.4 * len(home.paths)


def test_the_mailbox_for_holes_in_security_is_told(client: Client) -> None:
    answer = client.get("/.well-known/security.txt")
    assert answer.headers["Content-Type"].startswith("text/plain")
    told = dict(line.split(": ", 1) for line in answer.content.decode().splitlines())
    # RFC 9116: one Expires, less than a year ahead; Contact is an address with its scheme.
    assert re.match(r"(mailto|https):", told["Contact"])
    ahead = datetime.fromisoformat(told["Expires"]) - timezone.now()
    assert timedelta(days=30) < ahead < timedelta(days=365)
    assert told["Canonical"] == f"{settings.SITE_URL}/.well-known/security.txt"


def test_password_managers_find_the_way_to_another_password(client: Client) -> None:
    answer = client.get("/.well-known/change-password")
    assert (answer.status_code, answer["Location"]) == (302, "/account/password/")
