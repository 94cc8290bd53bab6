"""Long work over the API, and as rows that no crash and no lost bell can lose or do twice."""

import csv
import io
import uuid
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import override_settings
from django.utils import timezone

from fleetcare.fleet.models import Fleet, OdometerReading
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, NoRoom
from fleetcare.portal.exchange import jobs
from fleetcare.portal.models import ExchangeJob
from fleetcare.portal.words import ExchangeKind
from fleetcare.support import stored_files
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.exchange.given import TABLE, done, files

Json = dict[str, Any]


@pytest.fixture(autouse=True)
def _media(tmp_path: Path) -> Any:
    with override_settings(MEDIA_ROOT=tmp_path / "media"):
        yield


def kept() -> set[str]:
    root = Path(settings.MEDIA_ROOT)
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


@pytest.fixture
def bells(django_capture_on_commit_callbacks: Any) -> Any:
    """With it, what is rung for is done at once."""
    return lambda: django_capture_on_commit_callbacks(execute=True)


def fleet_url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/"


def upload(data: bytes, name: str = "table.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def test_an_export_is_asked_for_looked_after_and_fetched(api: Any, cast: Cast, bells: Any) -> None:
    with bells():
        asked = api.post(f"{fleet_url(cast)}exports/")
    assert asked.status_code == 202
    body = api.get(asked["Location"]).json()
    assert (body["state"], body["progress_fraction"], body["problem"]) == ("done", 1.0, None)
    assert api.get(f"{fleet_url(cast)}exports/").json()["items"] == [body]
    fetched = api.get(body["file"])
    assert fetched["Content-Type"] == "application/zip"
    assert fetched["Content-Disposition"].startswith('attachment; filename="fleet-2')
    data = b"".join(fetched.streaming_content) if fetched.streaming else fetched.content
    assert "manifest.json" in zipfile.ZipFile(io.BytesIO(data)).namelist()
    assert len(data) == body["result"]["size_bytes"]


def test_an_export_that_is_not_done_has_no_file_yet(api: Any, cast: Cast) -> None:
    asked = api.post(f"{fleet_url(cast)}exports/").json()
    assert (asked["state"], asked["file"]) == ("queued", None)
    assert api.get(f"{fleet_url(cast)}exports/{asked['id']}/file/").status_code == 404


def test_an_export_is_restored_into_an_empty_fleet_over_the_api(
    api: Any, client_of: Any, cast: Cast, bells: Any
) -> None:
    from tests.conftest import Cast as Other

    job = done(jobs.ask_for_export(cast.access))
    data = stored_files.content_of(job.product)
    empty = Other(factories.FleetFactory(name="Empty"), {}, cast.vehicle)
    client = client_of(Role.OWNER, empty)
    with bells():
        asked = client.post(f"{fleet_url(empty)}restores/", {"file": upload(data, "fleet.zip")}, format="multipart")
    assert asked.status_code == 202
    body = client.get(asked["Location"]).json()
    assert body["state"] == "done"
    assert body["result"]["tables"]["fleet.Vehicle"] == 1
    assert [vehicle["name"] for vehicle in client.get(f"{fleet_url(empty)}vehicles/").json()["items"]] == ["Home car"]
    assert Fleet.objects.get(pk=empty.fleet.pk).name == cast.fleet.name
    again = api.post(f"{fleet_url(cast)}restores/", {"file": upload(data, "fleet.zip")}, format="multipart")
    assert (again.status_code, again.json()["type"]) == (409, "urn:fleetcare:problem:not-empty")


def test_a_restore_that_fails_says_why_and_changes_nothing(client_of: Any, cast: Cast, bells: Any) -> None:
    empty = Cast(factories.FleetFactory(name="Empty"), {}, cast.vehicle)
    client = client_of(Role.OWNER, empty)
    with bells():
        asked = client.post(f"{fleet_url(empty)}restores/", {"file": upload(b"no zip")}, format="multipart")
    body = client.get(asked["Location"]).json()
    assert (body["state"], body["result"]) == ("failed", None)
    assert body["problem"]["errors"][0]["code"] == "not-an-export"
    assert Fleet.objects.get(pk=empty.fleet.pk).name == "Empty"


def send(api: Any, cast: Cast, data: bytes, bells: Any, **fields: Any) -> Json:
    body = {"file": upload(data), "what": "odometer", **fields}
    with bells():
        asked = api.post(f"{fleet_url(cast)}imports/", body, format="multipart")
    assert asked.status_code == 202, asked.json()
    found: Json = api.get(asked["Location"]).json()
    return {**found, "at": asked["Location"]}


def test_a_table_is_checked_answered_for_corrected_and_stored_once(api: Any, cast: Cast, bells: Any) -> None:
    data = b'vehicle,when,km\nHome car,3/4/2024,"120,500"\nnobody,3/5/2024,7\n=1+1,3/6/2024,8\n'
    looked = send(api, cast, data, bells)
    assert looked["result"]["missing"] == ["read_on"]
    with bells():
        mapping = {**looked["result"]["mapping"], "read_on": "when"}
        assert api.patch(looked["at"], {"mapping": mapping}).status_code == 202
    asked = api.get(looked["at"]).json()["result"]
    assert [question["name"] for question in asked["questions"]] == ["decimal", "day_order"]
    assert api.post(f"{looked['at']}store/").status_code == 409
    with bells():
        assert api.patch(looked["at"], {"decimal": "point", "day_order": "dmy"}).status_code == 202
    checked = api.get(looked["at"]).json()["result"]
    assert [(fault["row"], fault["value"], fault["code"]) for fault in checked["faults"]] == [
        (3, "nobody", "unknown-vehicle"),
        (4, "=1+1", "unknown-vehicle"),
    ]
    assert not OdometerReading.objects.within(cast.fleet).exists()

    refused = api.post(f"{looked['at']}store/", {})
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:fleetcare:problem:bad-rows")
    rows = list(csv.reader(io.StringIO(api.get(f"{looked['at']}bad-rows/").content.decode("utf-8-sig"))))
    assert rows[0] == ["vehicle", "when", "km", "what is wrong"]
    assert [row[:3] for row in rows[1:]] == [["nobody", "3/5/2024", "7"], ["'=1+1", "3/6/2024", "8"]]
    assert "No vehicle of this fleet" in rows[1][3]

    with bells():
        assert api.post(f"{looked['at']}store/", {"skip_bad_rows": True}).status_code == 202
    stored = api.get(looked["at"]).json()
    assert (stored["state"], stored["result"]["stored"], stored["result"]["new"]) == ("done", True, 1)
    assert OdometerReading.objects.within(cast.fleet).count() == 1
    for call in (
        lambda: api.post(f"{looked['at']}store/", {"skip_bad_rows": True}),
        lambda: api.patch(looked["at"], {}),
    ):
        assert call().json()["type"] == "urn:fleetcare:problem:stored"


def test_a_mapping_that_does_not_fit_fails_the_check_by_name_and_can_be_corrected(
    api: Any, cast: Cast, bells: Any
) -> None:
    looked = send(api, cast, TABLE, bells)
    with bells():
        api.patch(looked["at"], {"mapping": {"vehicle": "car", "read_on": "date", "odometer": "km"}})
    failed = api.get(looked["at"]).json()
    assert failed["state"] == "failed"
    assert [fault["pointer"] for fault in failed["problem"]["errors"]] == ["/mapping/vehicle"]
    with bells():
        api.patch(looked["at"], {"mapping": {"vehicle": "vehicle", "read_on": "date", "odometer": "km"}})
    assert api.get(looked["at"]).json()["state"] == "done"


def test_a_file_that_is_no_table_and_a_body_that_is_none_are_refused(api: Any, cast: Cast, bells: Any) -> None:
    assert send(api, cast, b"\0" * 50, bells)["problem"]["errors"][0]["code"] == "not-text"
    url = f"{fleet_url(cast)}imports/"
    for fields, pointer in (
        ({"what": "moods"}, "/what"),
        ({"vehicle": str(uuid.uuid4())}, "/vehicle"),
        ({"crown": "1"}, "/crown"),
        ({"file": ""}, "/file"),
    ):
        body = {"file": upload(TABLE), "what": "odometer", **fields}
        answer = api.post(url, body, format="multipart")
        assert answer.status_code == 400
        assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert api.patch(f"{url}{uuid.uuid4()}/", {"decimal": "dot"}).status_code == 404


def test_a_job_is_done_once_however_often_it_is_rung_for(cast: Cast) -> None:
    job = done(jobs.ask_for_export(cast.access))
    product = job.product
    for _ in range(2):
        jobs.run_exchange(job.fleet_id, job.pk)
    job.refresh_from_db()
    assert (job.product, job.attempts) == (product, 1)
    assert kept() == {product}


def test_two_workers_do_not_take_the_same_job(cast: Cast) -> None:
    job = jobs.ask_for_export(cast.access)
    assert jobs._claimed(job.fleet_id, job.pk) is not None
    assert jobs._claimed(job.fleet_id, job.pk) is None
    jobs.run_exchange(job.fleet_id, job.pk)
    job.refresh_from_db()
    assert job.state == "running"


def test_a_job_whose_worker_died_is_found_again_and_given_up_after_three_times(cast: Cast) -> None:
    job = jobs.ask_for_export(cast.access)
    moment = timezone.now()
    for attempt in range(3):
        with time_machine.travel(moment + attempt * (jobs.LEASE + timedelta(seconds=1)), tick=False):
            assert jobs._claimed(job.fleet_id, job.pk) is not None
    with time_machine.travel(moment + 3 * (jobs.LEASE + timedelta(seconds=1)), tick=False):
        assert jobs.waiting_exchanges() == [(job.fleet_id, job.pk)]
        jobs.run_exchange(job.fleet_id, job.pk)
        assert jobs.waiting_exchanges() == []
    job.refresh_from_db()
    assert (job.state, job.problem["code"]) == ("failed", "broke-off")


def test_a_worker_that_was_too_slow_neither_ends_the_job_nor_leaves_a_file(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = jobs.ask_for_export(cast.access)
    real = jobs.export_fleet

    def overtaken(*args: Any) -> Json:
        result = real(*args)
        with time_machine.travel(timezone.now() + 2 * jobs.LEASE):
            assert jobs._claimed(job.fleet_id, job.pk) is not None
        return result

    monkeypatch.setattr(jobs, "export_fleet", overtaken)
    jobs.run_exchange(job.fleet_id, job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("running", 2)
    assert not kept()


def test_a_fault_of_ours_leaves_the_job_to_be_found_again(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    job = jobs.ask_for_export(cast.access)

    def broken(*args: Any) -> Json:
        raise ZeroDivisionError

    monkeypatch.setattr(jobs, "export_fleet", broken)
    with pytest.raises(ZeroDivisionError):
        jobs.run_exchange(job.fleet_id, job.pk)
    job.refresh_from_db()
    assert job.state == "running"
    assert not kept()


def test_the_sweep_rings_for_what_waits_and_lets_files_go_after_a_week(cast: Cast, bells: Any) -> None:
    waiting = jobs.ask_for_export(cast.access)
    finished = done(jobs.ask_for_export(cast.access))
    assert kept() == {finished.product}
    with time_machine.travel(timezone.now() + timedelta(minutes=1)), bells():
        jobs.sweep_exchange()
    waiting.refresh_from_db()
    assert waiting.state == "done"
    with time_machine.travel(timezone.now() + jobs.KEPT + timedelta(minutes=1)):
        jobs.sweep_exchange()
    finished.refresh_from_db()
    assert finished.product == ""
    assert not kept()


def test_files_go_with_the_job_and_the_fleet(cast: Cast, bells: Any) -> None:
    done(jobs.ask_for_export(cast.access))
    with bells():
        ExchangeJob.objects.within(cast.fleet).get().delete()
    assert not kept()


def test_a_fleet_has_five_jobs_at_work_at_most(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "MOST_WAITING", 1)
    jobs.ask_for_export(cast.access)
    with pytest.raises(Conflict):
        jobs.ask_for_import(cast.access, TABLE, what="odometer")
    assert not kept()


def test_a_full_disk_leaves_no_job_behind(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*args: Any) -> str:
        raise NoRoom("full")

    monkeypatch.setattr(stored_files, "keep", full)
    with pytest.raises(NoRoom):
        jobs.ask_for_import(cast.access, TABLE, what="odometer")
    assert not ExchangeJob.objects.within(cast.fleet).exists()


def test_progress_is_told_and_the_lease_goes_on_with_it(cast: Cast) -> None:
    ExchangeJob.objects.create(fleet=cast.fleet, kind=ExchangeKind.EXPORT, asked_by="x", role=Role.OWNER, **files())
    job = jobs._claimed(cast.fleet.pk, ExchangeJob.objects.within(cast.fleet).get().pk)
    assert job is not None
    tell = jobs._progress(job)
    with time_machine.travel(timezone.now() + timedelta(minutes=5), tick=False):
        for fraction in (0.01, 0.2, 0.21, 0.6):
            tell(fraction)
        row = ExchangeJob.objects.within(cast.fleet).get()
        assert row.claimed_until == timezone.now() + jobs.LEASE
    assert row.progress_fraction == 0.6
