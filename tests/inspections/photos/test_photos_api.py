"""Photos over the API: kept clean, once, in their fleet; refused with the reason and the place."""

import errno
import io
import os
import time
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction
from django.test import override_settings
from PIL import Image

from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Forbidden, InvalidInput, NoRoom
from fleetcare.kernel.ids import new_id
from fleetcare.support import stored_files
from inspections.models import Photo
from inspections.services import photos as service
from inspections.services.photos import delete_photo, store_photo, sweep_photo_files
from inspections.services.pictures import MOST_BYTES
from scheduling.services.jobs import open_job
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, inspect
from tests.inspections.photos.pictures import drawn, encoded, moving, photo, telephone_jpeg, upload


@pytest.fixture(autouse=True)
def _media(tmp_path: Path) -> Any:
    with override_settings(MEDIA_ROOT=tmp_path / "media"):
        yield


def kept() -> set[str]:
    root = Path(settings.MEDIA_ROOT)
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


def vehicle_url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/"


def send(client: Any, url: str, data: bytes | None = None, name: str = "photo.jpg", **fields: Any) -> Any:
    body = {"photo": upload(data, name), "check": BOOT, "position": "front-right", **fields}
    return client.post(url, {key: value for key, value in body.items() if value is not None}, format="multipart")


def test_a_photo_of_a_result_is_kept_clean_and_read_back(api: Any, cast: Cast) -> None:
    inspection = inspect(cast.access, cast.vehicle, grade="major")
    url = f"{vehicle_url(cast)}inspections/{inspection.pk}/photos/"
    answer = send(api, url, telephone_jpeg(), note="torn on the inside")
    assert answer.status_code == 201
    body = answer.json()
    assert (body["of"], body["check"], body["position"]) == ("result", BOOT, "front-right")
    assert (body["inspection"], body["note"], body["taken_on"]) == (
        str(inspection.pk),
        "torn on the inside",
        "2024-05-01",
    )
    assert (body["width_px"], body["height_px"]) == (40, 60)
    assert answer["Location"] == f"{vehicle_url(cast)}photos/{body['id']}/"
    assert api.get(url).json()["items"] == [body]
    assert api.get(answer["Location"]).json() == body
    for address, longest in ((body["image"], 2048), (body["thumbnail"], 400)):
        read = api.get(address)
        assert read.status_code == 200
        image = Image.open(io.BytesIO(read.content))
        assert max(image.size) <= longest
        assert not image.getexif()


def test_a_picture_is_served_so_that_no_browser_takes_it_for_a_page(api: Any, cast: Cast) -> None:
    found = photo(cast.access, cast.vehicle, inspection=inspect(cast.access, cast.vehicle))
    address = f"{vehicle_url(cast)}photos/{found.pk}/image/"
    answer = api.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'; sandbox"
    assert answer["Content-Disposition"] == f'inline; filename="photo-{found.pk}.jpg"'
    assert answer["Cache-Control"] == "private, no-cache"
    again = api.get(address, HTTP_IF_NONE_MATCH=answer["ETag"])
    assert (again.status_code, again.content) == (304, b"")


def test_the_same_photo_sent_twice_to_the_same_place_is_one_row_and_elsewhere_another(api: Any, cast: Cast) -> None:
    inspection = inspect(cast.access, cast.vehicle)
    url = f"{vehicle_url(cast)}inspections/{inspection.pk}/photos/"
    first, second = send(api, url), send(api, url)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert len(kept()) == 2
    assert send(api, url, position="front-left").status_code == 201
    assert send(api, f"{vehicle_url(cast)}photos/", check=None, position=None).status_code == 201
    assert Photo.objects.within(cast.fleet).count() == 3


def test_of_two_equal_photos_at_once_one_is_kept(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    inspection = inspect(cast.access, cast.vehicle)
    sent: list[Photo] = []
    real = service.prepared

    def while_another_arrives(data: bytes) -> Any:
        if not sent:
            sent.append(None)  # type: ignore[arg-type]
            sent[0] = photo(cast.access, cast.vehicle, inspection=inspection)
        return real(data)

    monkeypatch.setattr(service, "prepared", while_another_arrives)
    late, created = store_photo(
        cast.access, cast.vehicle, upload=upload(), inspection=inspection, check_key=BOOT, position="front-right"
    )
    assert (late, created) == (sent[0], False)
    assert len(kept()) == 2


@pytest.mark.parametrize(
    "name",
    [
        "../../../etc/passwd",
        "a\0b.jpg",
        "\u202egpj.exe",
        "x" * 300 + ".jpg",
        "con.jpg",
        "-rf",
        "<img src=x>.svg",
        "é ü.heic",
    ],
)
def test_the_name_of_a_file_is_neither_used_nor_kept(api: Any, cast: Cast, name: str) -> None:
    answer = send(api, f"{vehicle_url(cast)}photos/", name=name, check=None, position=None)
    assert answer.status_code == 201
    folder = f"photos/{cast.fleet.pk}/"
    assert all(path.startswith(folder) and len(path) < len(folder) + 50 for path in kept())
    row = Photo.objects.within(cast.fleet).values().get()
    assert not [value for value in row.values() if name[:20] in str(value)]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "not-a-picture"),
        (moving("PNG"), "several-frames"),
        (encoded(drawn(400, 300))[:-900], "truncated"),
        (b"", "empty"),
        (b"\xff" * (MOST_BYTES + 1), "too-large"),
    ],
)
def test_a_file_that_is_no_picture_is_refused_and_nothing_is_stored(
    api: Any, cast: Cast, data: bytes, code: str
) -> None:
    answer = send(api, f"{vehicle_url(cast)}photos/", data, check=None, position=None)
    assert answer.status_code == 400
    assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [("/photo", code)]
    assert not kept()
    assert not Photo.objects.within(cast.fleet).exists()


def test_a_body_over_twelve_megabytes_is_refused_before_it_is_read_and_only_photos_may_have_more_than_two(
    api: Any, cast: Cast
) -> None:
    url = f"{vehicle_url(cast)}photos/"
    for method, address, length in (("POST", url, 12 * 1024**2 + 1), ("PUT", vehicle_url(cast), 2 * 1024**2 + 1)):
        answer = api.generic(method, address, data="", content_type="application/json", CONTENT_LENGTH=str(length))
        assert answer.status_code == 413
    noise = Image.effect_noise((2400, 2400), 200)
    large = encoded(noise, "PNG")
    assert 3 * 1024**2 < len(large) < MOST_BYTES
    assert send(api, url, large, check=None, position=None).status_code == 201


def test_a_place_that_does_not_exist_is_refused_by_name(api: Any, cast: Cast) -> None:
    inspection = inspect(cast.access, cast.vehicle)
    url = f"{vehicle_url(cast)}inspections/{inspection.pk}/photos/"
    for fields, pointer, code in (
        ({"check": "no.such"}, "/check", "unknown-check"),
        ({"position": "roof"}, "/position", "unknown-position"),
        ({"check": None}, "/check", "required"),
        ({"colour": "red"}, "/colour", "unknown"),
    ):
        answer = send(api, url, **fields)
        assert answer.status_code == 400
        assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [(pointer, code)]
    assert not kept()


def test_photos_before_and_after_a_job_name_the_job_and_are_found_by_it(api: Any, cast: Cast) -> None:
    url, plain = f"{vehicle_url(cast)}photos/", {"check": None, "position": None}
    job, other = (open_job(cast.access, cast.vehicle, title=title)[0].pk for title in ("Bleed", "Grease"))
    for of in ("job-before", "job-after"):
        assert send(api, url, of=of, job=str(job), **plain).status_code == 201
    assert send(api, url, of="job-before", job=str(other), **plain).status_code == 201
    found = api.get(url, {"of": "job-after", "job": str(job)}).json()["items"]
    assert [(item["of"], item["job"]) for item in found] == [("job-after", str(job))]
    assert len(api.get(url).json()["items"]) == 3
    for fields in ({"of": "job-before"}, {"of": "vehicle", "job": str(job)}):
        assert send(api, url, **plain, **fields).json()["errors"][0]["pointer"] == "/subject_id"
    assert api.get(url, {"of": "nothing"}).status_code == 400
    assert api.get(url, {"job": "nothing"}).status_code == 400


def test_a_photo_names_no_job_of_another_vehicle_or_fleet(api: Any, cast: Cast, strangers: Cast) -> None:
    url, sibling = f"{vehicle_url(cast)}photos/", factories.vehicle(cast.fleet, name="Sibling")
    foreign = open_job(strangers.access, strangers.vehicle, title="Bleed")[0].pk
    for job in (open_job(cast.access, sibling, title="Bleed")[0].pk, foreign, new_id()):
        answer = send(api, url, of="job-after", job=str(job), check=None, position=None)
        assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [("/job", "unknown-job")]
    assert not kept()


def test_one_place_takes_twenty_photos(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_A_PLACE", 2)
    inspection = inspect(cast.access, cast.vehicle)
    for number in (1, 2):
        photo(cast.access, cast.vehicle, encoded(drawn(20 + number, 20)), inspection=inspection)
    with pytest.raises(InvalidInput, match="At most 2 photos"):
        photo(cast.access, cast.vehicle, encoded(drawn(30, 20)), inspection=inspection)
    assert len(kept()) == 4


def test_a_deleted_photo_takes_its_files_along_and_only_once_that_is_stored(
    api: Any, cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    found = photo(cast.access, cast.vehicle, inspection=inspect(cast.access, cast.vehicle))
    key, point = found.pk, transaction.savepoint()
    delete_photo(cast.access, found)
    transaction.savepoint_rollback(point)
    assert len(kept()) == 2
    with django_capture_on_commit_callbacks(execute=True):
        assert api.delete(f"{vehicle_url(cast)}photos/{key}/").status_code == 204
    assert not kept()


def test_photos_go_with_their_vehicle(cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
    photo(cast.access, cast.vehicle, inspection=inspect(cast.access, cast.vehicle))
    with django_capture_on_commit_callbacks(execute=True):
        Vehicle.objects.within(cast.fleet).one(pk=cast.vehicle.pk).delete()
    assert not kept()


def test_an_inspector_deletes_photos_of_a_draft_and_not_of_what_was_completed(client_of: Any, cast: Cast) -> None:
    draft = inspect(cast.access, cast.vehicle, draft=True, shown_km=119_000)
    done = inspect(cast.access, cast.vehicle, shown_km=120_000)
    client = client_of(Role.INSPECTOR)
    for inspection, status in ((draft, 204), (done, 403)):
        found = photo(cast.access, cast.vehicle, inspection=inspection)
        assert client.delete(f"{vehicle_url(cast)}photos/{found.pk}/").status_code == status
    with pytest.raises(Forbidden):
        store_photo(
            type(cast.access)(cast.fleet, Role.VIEWER, "user:x"), cast.vehicle, upload=upload(), subject_kind="vehicle"
        )


def test_a_full_disk_is_told_and_leaves_neither_row_nor_file(
    api: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, opened = Path.open, []

    class Full(io.FileIO):
        def writelines(self, pieces: Any) -> None:
            self.write(b"".join(pieces)[:100])
            raise OSError(errno.ENOSPC, "No space left on device")

    def second_is_full(path: Path, mode: str = "r", *rest: Any, **options: Any) -> Any:
        if mode != "wb":
            return real(path, mode, *rest, **options)
        opened.append(path)
        return Full(path, mode) if len(opened) % 2 == 0 else real(path, mode)

    monkeypatch.setattr(Path, "open", second_is_full)
    answer = send(api, f"{vehicle_url(cast)}photos/", check=None, position=None)
    assert answer.status_code == 507
    assert not kept()
    assert not Photo.objects.within(cast.fleet).exists()
    stored_files.keep("x", b"there is room", ".a")
    with pytest.raises(NoRoom):
        stored_files.keep("x", b"now there is none", ".a")


def test_the_sweep_takes_what_no_photo_names_and_leaves_what_is_young_or_needed(cast: Cast) -> None:
    needed = photo(cast.access, cast.vehicle, inspection=inspect(cast.access, cast.vehicle))
    left = stored_files.keep(f"photos/{cast.fleet.pk}", b"left by a crash", ".jpg")
    young = stored_files.keep(f"photos/{cast.fleet.pk}", b"about to be named", ".jpg")
    long_ago = time.time() - 2 * 24 * 3600
    for name in (needed.picture, needed.thumbnail, left):
        os.utime(stored_files.path_of(name), (long_ago, long_ago))
    assert sweep_photo_files() == 1
    assert kept() == {needed.picture, needed.thumbnail, young}


def test_no_name_leads_out_of_the_folder_of_kept_files() -> None:
    for name in ("../secret", "/etc/passwd", "photos/../../x"):
        with pytest.raises(ValueError, match="outside"):
            stored_files.content_of(name)


@pytest.mark.parametrize("number", [1, 6])
def test_a_list_of_photos_takes_as_many_queries_however_many_there_are(
    api: Any, cast: Cast, number: int, django_assert_num_queries: Any
) -> None:
    inspection = inspect(cast.access, cast.vehicle)
    for index in range(number):
        photo(cast.access, cast.vehicle, encoded(drawn(20 + index, 20)), inspection=inspection)
    url = f"{vehicle_url(cast)}inspections/{inspection.pk}/photos/"
    api.get(url)
    with django_assert_num_queries(4):  # key, vehicle, inspection, photos
        assert len(api.get(url).json()["items"]) == number
