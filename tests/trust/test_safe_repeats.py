"""A POST with an Idempotency-Key is done once, and answered each time with the same bytes."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings as project
from django.test.client import encode_multipart
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from fleetcare.fleet.api import view
from fleetcare.fleet.models import ApiKey, KeptAnswer, Vehicle
from fleetcare.fleet.services import repeats
from fleetcare.fleet.words import Role
from inspections.models import Photo
from scheduling.services import ticking
from tests.conftest import Cast
from tests.contract import openapi
from tests.inspections.photos.pictures import drawn, encoded, upload

pytestmark = pytest.mark.django_db

KEY = "a-word-of-the-client"
NEW = {"name": "Old van", "first_used_on": "2009-03-04"}


def url(cast: Cast, *rest: object) -> str:
    return "/".join(["/api/v1/fleets", str(cast.fleet.pk), *map(str, rest), ""])


def post(client: Any, address: str, body: Any, key: str = KEY, **more: Any) -> Any:
    return client.post(address, body, HTTP_IDEMPOTENCY_KEY=key, **more)


def vehicles(cast: Cast) -> int:
    return Vehicle.objects.within(cast.fleet).count() - 1


def test_what_is_repeated_is_done_once_and_answered_alike(api: Any, cast: Cast) -> None:
    first, *later = [post(api, url(cast, "vehicles"), NEW) for _ in range(5)]
    assert vehicles(cast) == 1
    assert first.status_code == 201
    assert "Idempotency-Replayed" not in first
    for answer in later:
        same = [each.content for each in (answer, first)], [each["Location"] for each in (answer, first)]
        assert [a == b for a, b in same] == [True, True]
        assert (answer.status_code, answer["ETag"], answer["Idempotency-Replayed"]) == (201, first["ETag"], "true")


def test_the_key_with_another_body_or_address_is_refused(api: Any, cast: Cast) -> None:
    post(api, url(cast, "vehicles"), NEW)
    for address, body in (
        (url(cast, "vehicles"), {**NEW, "name": "Other"}),
        (url(cast, "contacts"), {"name": "M", "email": "m@x.example"}),
    ):
        answer = post(api, address, body)
        assert (answer.status_code, answer.json()["type"]) == (422, "urn:fleetcare:problem:idempotency-key-reused")
    assert vehicles(cast) == 1


def test_two_clients_with_the_same_key_do_not_meet(api: Any, client_of: Any, cast: Cast, strangers: Cast) -> None:
    answers = [post(api, url(cast, "vehicles"), NEW), post(client_of(Role.PLANNER), url(cast, "vehicles"), NEW)]
    answers.append(post(client_of(of=strangers), url(strangers, "vehicles"), NEW))
    assert [answer.status_code for answer in answers] == [201, 201, 201]
    assert len({answer.json()["id"] for answer in answers}) == 3


def test_a_request_that_was_refused_keeps_nothing_and_is_asked_anew_once_corrected(api: Any, cast: Cast) -> None:
    assert post(api, url(cast, "vehicles"), {"name": "Old van"}).status_code == 400
    assert KeptAnswer.objects.count() == 0
    assert post(api, url(cast, "vehicles"), NEW).status_code == 201


def test_what_breaks_off_before_its_answer_is_kept_leaves_nothing_of_the_work(
    api: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise RuntimeError("no")

    with monkeypatch.context() as patch:
        patch.setattr(repeats, "_keep", broken)
        with pytest.raises(RuntimeError):
            post(api, url(cast, "vehicles"), NEW)
    assert (vehicles(cast), KeptAnswer.objects.count()) == (0, 0)
    answer = post(api, url(cast, "vehicles"), NEW)
    assert (answer.status_code, vehicles(cast)) == (201, 1)


def test_an_answer_lost_after_the_work_was_stored_is_given_again(
    api: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("the line went dead")

    with monkeypatch.context() as patch:
        patch.setattr(view, "HttpResponse", broken)
        with pytest.raises(RuntimeError):
            post(api, url(cast, "vehicles"), NEW)
    answer = post(api, url(cast, "vehicles"), NEW)
    assert (answer["Idempotency-Replayed"], vehicles(cast)) == ("true", 1)


def test_whoever_may_no_longer_do_it_is_not_shown_the_answer(api: Any, cast: Cast) -> None:
    post(api, url(cast, "vehicles"), NEW)
    ApiKey.objects.within(cast.fleet).update(role=Role.VIEWER)
    assert post(api, url(cast, "vehicles"), NEW).status_code == 403


def test_a_secret_that_is_shown_once_is_not_readable_in_what_is_kept(api: Any, cast: Cast) -> None:
    body = {"name": "script", "role": "viewer"}
    first, again = (post(api, url(cast, "keys"), body) for _ in range(2))
    assert first.json()["key"] == again.json()["key"]
    row = KeptAnswer.objects.get()
    stored = bytes(row.sealed) + row.pk.encode() + row.fingerprint.encode()
    for secret in (first.json()["key"], first.json()["key"].rpartition("_")[2], KEY):
        assert secret.encode() not in stored


def test_a_new_signing_key_still_opens_what_the_old_one_closed(api: Any, cast: Cast, settings: Any) -> None:
    first = post(api, url(cast, "vehicles"), NEW)
    settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [project.SECRET_KEY], "k" * 20 + "another-signing-key" * 3
    assert post(api, url(cast, "vehicles"), NEW).content == first.content
    settings.SECRET_KEY_FALLBACKS = []
    gone = post(api, url(cast, "vehicles"), NEW)
    assert (gone.status_code, gone.json()["type"], vehicles(cast)) == (409, "urn:fleetcare:problem:answer-gone", 1)


def test_an_answer_is_kept_for_two_days_and_then_forgotten_by_the_tick(api: Any, cast: Cast) -> None:
    post(api, url(cast, "vehicles"), NEW)
    with time_machine.travel(timezone.now() + timedelta(hours=47, minutes=59), tick=False):
        repeats.forget_answers()
        assert post(api, url(cast, "vehicles"), NEW)["Idempotency-Replayed"] == "true"
    with time_machine.travel(timezone.now() + timedelta(hours=48, minutes=1), tick=False):
        assert post(api, url(cast, "vehicles"), NEW).status_code == 201
        assert KeptAnswer.objects.count() == 1
    with time_machine.travel(timezone.now() + timedelta(hours=97), tick=False):
        ticking._STEPS["kept answers"]()
        assert KeptAnswer.objects.count() == 0


def test_quotes_around_a_key_are_the_drafts_and_not_part_of_it(api: Any, cast: Cast) -> None:
    post(api, url(cast, "vehicles"), NEW)
    assert post(api, url(cast, "vehicles"), NEW, f'"{KEY}"')["Idempotency-Replayed"] == "true"


@pytest.mark.parametrize("key", ["", '""', "k" * 256, "schlüssel", "a\tb"])
def test_a_key_that_is_none_is_refused(api: Any, cast: Cast, key: str) -> None:
    assert post(api, url(cast, "vehicles"), NEW, key).status_code == 400
    assert vehicles(cast) == 0


def _form(boundary: str, **fields: Any) -> dict[str, Any]:
    body = encode_multipart(boundary, {"of": "vehicle", **fields})
    return {"data": body, "content_type": f"multipart/form-data; boundary={boundary}"}


def test_a_file_sent_again_with_another_boundary_is_the_same_request(api: Any, cast: Cast) -> None:
    address = url(cast, "vehicles", cast.vehicle.pk, "photos")
    sent = [
        api.post(address, **_form(boundary, photo=upload(name=name)), HTTP_IDEMPOTENCY_KEY=KEY)
        for boundary, name in (("abc", "a.jpg"), ("defgh", "a.jpg"))
    ]
    assert [answer.status_code for answer in sent] == [201, 201]
    assert (sent[0].content, sent[1]["Idempotency-Replayed"]) == (sent[1].content, "true")
    assert Photo.objects.within(cast.fleet).count() == 1
    other = api.post(address, **_form("abc", photo=upload(encoded(drawn(30, 30)))), HTTP_IDEMPOTENCY_KEY=KEY)
    assert other.status_code == 422


def _posting(resolver: URLResolver, prefix: str = "") -> list[tuple[str, Any]]:
    found = []
    for entry in resolver.url_patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            found += _posting(entry, route)
        elif isinstance(entry, URLPattern) and route.startswith("api/v1/"):
            handler = getattr(getattr(entry.callback, "view_class", None), "post", None)
            found += [(route, handler)] if handler else []
    return found


def test_every_post_of_the_api_is_safe_to_repeat_and_says_so() -> None:
    posting = _posting(get_resolver())
    assert len(posting) > 30
    bare = [route for route, handler in posting if not hasattr(handler, "__wrapped__")]
    assert not bare
    silent = [
        path
        for path, operations in openapi()["paths"].items()
        if "post" in operations
        and not any(each["name"] == "Idempotency-Key" for each in operations["post"].get("parameters", ()))
    ]
    assert not silent
    assert {re.sub(r"<\w+:(\w+)>", r"{\1}", "/" + route) for route, _ in posting} == {
        path for path, operations in openapi()["paths"].items() if "post" in operations
    }
