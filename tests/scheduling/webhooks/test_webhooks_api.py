"""Webhooks over the API: made, changed, tried, looked at; for owners."""

from typing import Any

import pytest

from fleetcare.fleet.words import Role
from scheduling.models import WebhookDelivery
from scheduling.services.hooks import send_hooks
from tests.conftest import Cast
from tests.scheduling.webhooks.receiver import receiving

pytestmark = pytest.mark.django_db


def at(cast: Cast, *rest: object) -> str:
    return "/".join(["", "api", "v1", "fleets", str(cast.fleet.pk), "webhooks", *map(str, rest), ""])


def test_the_secret_is_shown_when_it_is_made_and_never_again(api: Any, cast: Cast) -> None:
    made = api.post(at(cast), {"url": "https://receiver.example/x", "kinds": ["job.closed"]})
    assert made.status_code == 201
    assert made.json()["secret"].startswith("whsec_")
    assert "secret" not in api.get(at(cast, made.json()["id"])).json()
    rotated = api.post(at(cast, made.json()["id"], "rotate-secret")).json()["secret"]
    assert rotated.startswith("whsec_")
    assert rotated != made.json()["secret"]


@pytest.mark.parametrize(
    "url",
    ["http://receiver.example/", "https://127.0.0.1/", "https://[::ffff:10.0.0.1]/", "https://u:p@receiver.example/"],
)
def test_an_address_that_must_not_be_called_is_refused_with_its_place(api: Any, cast: Cast, url: str) -> None:
    answer = api.post(at(cast), {"url": url})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/url"


def test_an_unknown_kind_is_named(api: Any, cast: Cast) -> None:
    answer = api.post(at(cast), {"url": "https://receiver.example/", "kinds": ["job.closed", "job.opened"]})
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/kinds/1"]


def test_a_stale_change_is_refused(api: Any, cast: Cast) -> None:
    made = api.post(at(cast), {"url": "https://receiver.example/"})
    where = at(cast, made.json()["id"])
    assert api.patch(where, {"description": "a"}, HTTP_IF_MATCH=made["ETag"]).status_code == 200
    assert api.patch(where, {"description": "b"}, HTTP_IF_MATCH=made["ETag"]).status_code == 412


def test_a_test_is_logged_and_can_be_sent_again(
    api: Any, cast: Cast, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.WEBHOOKS_ALLOW_LOCAL = True
    with receiving() as receiver:
        made = api.post(at(cast), {"url": receiver.url}).json()["id"]
        with django_capture_on_commit_callbacks(execute=True):
            assert api.post(at(cast, made, "test")).status_code == 202
        assert receiver.got == [], "a request waits for nobody's server"
        send_hooks()
        (row,) = api.get(at(cast, made, "deliveries")).json()["items"]
        assert (row["state"], row["status"], row["kind"]) == ("sent", 204, "test")
        with django_capture_on_commit_callbacks(execute=True):
            again = api.post(at(cast, made, "deliveries", row["id"], "replay"))
        assert again.json()["state"] == "waiting"
        send_hooks()
        assert len(receiver.got) == 2


def test_what_still_waits_is_not_sent_twice(api: Any, cast: Cast) -> None:
    made = api.post(at(cast), {"url": "https://receiver.example/"}).json()["id"]
    row = api.post(at(cast, made, "test")).json()
    answer = api.post(at(cast, made, "deliveries", row["id"], "replay"))
    assert answer.status_code == 409
    assert WebhookDelivery.objects.within(cast.fleet).get().state == "waiting"


def test_an_endpoint_that_is_off_is_sent_nothing(api: Any, cast: Cast) -> None:
    made = api.post(at(cast), {"url": "https://receiver.example/"}).json()["id"]
    off = api.patch(at(cast, made), {"disabled": True})
    assert off.json()["disabled_because"] == "Switched off by an owner."
    assert api.post(at(cast, made, "test")).status_code == 409
    assert send_hooks() == 0


@pytest.mark.parametrize("role", [Role.PLANNER, Role.INSPECTOR, Role.VIEWER])
def test_only_owners_see_where_the_fleets_facts_go(client_of: Any, cast: Cast, role: Role) -> None:
    assert client_of(role).get(at(cast)).status_code == 403


@pytest.mark.parametrize("count", [1, 7])
def test_the_log_takes_the_same_queries_however_long_it_is(
    api: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    made = api.post(at(cast), {"url": "https://receiver.example/"}).json()["id"]
    for _ in range(count):
        api.post(at(cast, made, "test"))
    with django_assert_num_queries(3):  # key, endpoint, deliveries with events
        assert len(api.get(at(cast, made, "deliveries")).json()["items"]) == count
    assert WebhookDelivery.objects.within(cast.fleet).count() == count
