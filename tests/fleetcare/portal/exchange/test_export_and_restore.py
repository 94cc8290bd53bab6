"""Out and in again: the same fleet but for its ids; and no made-up archive gets anything stored."""

import csv
import io
import json
import re
import uuid
import zipfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection, transaction
from django.test import override_settings
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleetcare.fleet.access import Access, system_access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import ApiKey, Contact, Fleet, Membership, OdometerReading, Vehicle
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Forbidden, InvalidInput
from fleetcare.portal.exchange import record
from fleetcare.portal.exchange.fresh_ids import fresh_ids, with_fresh_ids
from fleetcare.portal.exchange.record import columns_of, exported_tables, label_of, restored_tables
from fleetcare.portal.exchange.restoring import restore_fleet
from fleetcare.portal.exchange.writing import csv_cell, export_fleet
from fleetcare.portal.reports.links import share_report
from inspections.models import Photo
from inspections.services.pictures import is_plain_jpeg
from scheduling.models import Job
from scheduling.services.jobs.closing import Closing, close_job
from scheduling.services.jobs.opening import open_job
from tests import factories
from tests.conftest import Cast, make_cast
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.conftest import make_household
from tests.inspections.photos.pictures import drawn, encoded, photo, telephone_jpeg

UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
NASTY = '=HYPERLINK("http://x.example","+1")'


@pytest.fixture(autouse=True)
def _media(tmp_path: Path) -> Any:
    with override_settings(MEDIA_ROOT=tmp_path / "media"):
        yield


def kept() -> set[str]:
    root = Path(settings.MEDIA_ROOT)
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


@pytest.fixture
def full(cast: Cast) -> Cast:
    return make_full(cast)


@pytest.fixture(scope="module")
def archive_path(django_db_setup: Any, django_db_blocker: Any, tmp_path_factory: Any) -> Any:
    """The export of such a household, made once; the household itself is gone."""
    folder = tmp_path_factory.mktemp("export")
    with django_db_blocker.unblock(), transaction.atomic(), override_settings(MEDIA_ROOT=folder / "media"):
        exported(make_full(make_cast("Home")).access, folder / "a.zip")
        transaction.set_rollback(True)
    return folder / "a.zip"


def make_full(cast: Cast) -> Cast:
    """A household with something in as many tables as a few steps reach."""
    household = make_household(cast)
    access, blue = cast.access, household.blue
    photo(access, blue, encoded(drawn(300, 200)), inspection=household.inspection, note=NASTY)
    photo(access, blue, telephone_jpeg(), inspection=household.inspection)
    save_contact(access, None, vehicles=[blue.pk], name="Driver", email="driver@x.example")
    fill(access, household.unknown)
    job, _ = open_job(access, blue, job_key="front-brake-pads.replace", positions=["front-left", "front-right"])
    done = Closing(done_on=today(cast.fleet), shown_km=Decimal(120_100), hours=Decimal("1.5"), parts_minor=8_000)
    close_job(access, job, done)
    open_job(access, blue, title=NASTY)
    share_report(access, blue)
    return cast


def exported(access: Access, path: Path) -> zipfile.ZipFile:
    export_fleet(access, path, timezone.now(), lambda fraction: None)
    return zipfile.ZipFile(path)


def empty_fleet() -> Access:
    return system_access(factories.FleetFactory(name="Empty"))


def restored(path: Path) -> Access:
    access = empty_fleet()
    with path.open("rb") as file:
        restore_fleet(access, file, lambda fraction: None)
    return access


def normal(archive: zipfile.ZipFile) -> dict[str, Any]:
    """What an export says, with every id replaced by its place among all ids, and without what is new by its nature."""
    names = sorted(name for name in archive.namelist() if name.startswith("data/"))
    labels = {f"data/{label_of(table)}.json" for table in restored_tables()}
    texts = {name: archive.read(name).decode() for name in names if name in labels}
    own = {row["id"] for text in texts.values() for row in json.loads(text)}
    places = {key: f"#{place}" for place, key in enumerate(sorted(own))}
    found: dict[str, Any] = {
        name: UUID.sub(lambda match: places.get(match[0], match[0]), text) for name, text in texts.items()
    }
    for row in (rows := json.loads(found["data/inspections.Photo.json"])):
        row["picture"] = row["thumbnail"] = ""
    found["data/inspections.Photo.json"] = rows
    found["photos"] = sorted(archive.read(name) for name in archive.namelist() if name.startswith("photos/"))
    found["fleet"] = json.loads(archive.read("manifest.json"))["fleet"]
    return found


def test_an_export_restores_to_the_same_fleet_but_for_its_ids(full: Cast, tmp_path: Path) -> None:
    first = exported(full.access, tmp_path / "first.zip")
    again = exported(restored(tmp_path / "first.zip"), tmp_path / "second.zip")
    one, other = normal(first), normal(again)
    assert set(one) == set(other)
    for name in one:
        assert one[name] == other[name], name
    filled = {name for name, text in one.items() if name.startswith("data/") and text not in ("[]\n", [])}
    assert len(filled) >= 18, sorted(filled)


def test_the_restored_fleet_has_new_ids_and_none_of_the_old_ones(full: Cast, tmp_path: Path) -> None:
    exported(full.access, tmp_path / "a.zip")
    access = restored(tmp_path / "a.zip")
    old = {
        str(key) for table in exported_tables() for key in table.objects.within(full.fleet).values_list("pk", flat=True)
    }
    for table in restored_tables():
        for row in table.objects.within(access.fleet):
            found = set(UUID.findall(json.dumps(record.row_json(row))))
            assert not found & old, (label_of(table), found & old)


def test_the_original_is_untouched_by_a_restore(full: Cast, tmp_path: Path) -> None:
    first = normal(exported(full.access, tmp_path / "a.zip"))
    restored(tmp_path / "a.zip")
    assert normal(exported(full.access, tmp_path / "b.zip")) == first


def test_what_was_restored_works_like_what_was_entered(full: Cast, tmp_path: Path) -> None:
    from fleetcare.fleet.selectors import vehicle_of
    from fleetcare.portal.reports.condition import condition_report

    exported(full.access, tmp_path / "a.zip")
    access = restored(tmp_path / "a.zip")
    vehicle = Vehicle.objects.within(access.fleet).get(plate="HX BL 9")
    report = condition_report(access, vehicle_of(access, vehicle.pk))
    original = Vehicle.objects.within(full.fleet).get(plate="HX BL 9")
    before = condition_report(full.access, vehicle_of(full.access, original.pk))
    assert report.condition.verdict == before.condition.verdict
    assert [each.finding.title for each in report.findings] == [each.finding.title for each in before.findings]
    assert [len(each.photos) for each in report.findings] == [len(each.photos) for each in before.findings]
    assert report.wear == before.wear


def test_times_of_entry_are_kept(full: Cast, tmp_path: Path) -> None:
    exported(full.access, tmp_path / "a.zip")
    access = restored(tmp_path / "a.zip")
    for table in (Vehicle, OdometerReading, Photo, Contact, Job):
        one, other = (
            list(table.objects.within(fleet).order_by("created_at").values_list("created_at", flat=True))
            for fleet in (full.fleet, access.fleet)
        )
        assert one == other, table


def test_secrets_and_people_are_in_no_export_as_anything_that_works(full: Cast, tmp_path: Path) -> None:
    key = full.key()
    archive = exported(full.access, tmp_path / "a.zip")
    everything = b"".join(archive.read(name) for name in archive.namelist())
    row = ApiKey.objects.within(full.fleet).get()
    for secret in (key, row.digest, row.prefix):
        assert secret.encode() not in everything
    assert b"SharedLink.json" not in everything
    assert {each["role"] for each in json.loads(archive.read("members.json"))} == {role.value for role in Role}
    access = restored(tmp_path / "a.zip")
    assert not Membership.objects.within(access.fleet).exists()


def test_no_exported_column_looks_like_a_secret() -> None:
    harmless = {
        ("inspections.Assessment", "digest"),
        ("scheduling.StoredBacklog", "digest"),
        ("inspections.Inspection", "content_digest"),
        # Counts how often the secret was changed; the secret is made of it and the site's own key.
        ("scheduling.WebhookEndpoint", "secret_round"),
    }
    odd = {
        (label_of(table), column.attname)
        for table in exported_tables()
        for column in columns_of(table)
        if re.search("digest|secret|token|password|prefix", column.attname)
        and column.attname not in record.BLANKED.get(label_of(table), ())
    }
    assert odd == harmless


def test_every_table_that_is_left_out_exists_and_says_why() -> None:
    from django.apps import apps

    known = {model._meta.label for model in apps.get_models()}
    for reasons in (record.LEFT_OUT, record.FOR_READING):
        assert set(reasons) <= known
        assert all(len(reason) > 10 for reason in reasons.values())
    assert set(record.BLANKED) | set(record.NOT_RESTORED) <= known


def test_the_tables_as_csv_run_nothing_in_a_spreadsheet(archive_path: Path) -> None:
    archive = zipfile.ZipFile(archive_path)
    for name in archive.namelist():
        if name.startswith("csv/"):
            text = archive.read(name).decode("utf-8-sig")
            for row in csv.reader(io.StringIO(text, newline="")):
                for cell in row:
                    plain = re.fullmatch(r"-?[0-9.]+(e-?[0-9]+)?", cell)
                    assert plain or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (name, cell)
    sheet = archive.read("csv/inspections.Photo.csv").decode("utf-8-sig")
    assert f"'{NASTY}" in {cell for row in csv.reader(io.StringIO(sheet, newline="")) for cell in row}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_cell_that_would_be_a_formula_gets_an_apostrophe(start: str) -> None:
    assert csv_cell(f"{start}1+1") == f"'{start}1+1"
    assert csv_cell(-3.5) == "-3.5"
    assert csv_cell({"a": "=1"}) == '{"a":"=1"}'
    assert (csv_cell(None), csv_cell(value=True)) == ("", "yes")


def test_a_photo_whose_file_is_lost_is_named_and_stops_nothing(full: Cast, tmp_path: Path) -> None:
    from fleetcare.support import stored_files

    lost = Photo.objects.within(full.fleet).first()
    assert lost is not None
    stored_files.drop(lost.picture)
    archive = exported(full.access, tmp_path / "a.zip")
    assert json.loads(archive.read("manifest.json"))["missing_photos"] == [str(lost.pk)]


def test_only_an_owner_exports_and_restores_and_only_into_an_empty_fleet(full: Cast, tmp_path: Path) -> None:
    exported(full.access, tmp_path / "a.zip")
    planner = Access(full.fleet, Role.PLANNER, "user:x")
    with pytest.raises(Forbidden):
        export_fleet(planner, tmp_path / "b.zip", timezone.now(), lambda fraction: None)
    with pytest.raises(Forbidden):
        restore_fleet(planner, tmp_path / "a.zip", lambda fraction: None)
    with pytest.raises(Conflict):
        restore_fleet(full.access, tmp_path / "a.zip", lambda fraction: None)


def spoiled(path: Path, change: Callable[[dict[str, bytes]], None]) -> io.BytesIO:
    """The export with its files changed."""
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    written.seek(0)
    return written


def in_rows(label: str, **values: Any) -> Callable[[dict[str, bytes]], None]:
    """Changes values in every row of a table."""

    def change(files: dict[str, bytes]) -> None:
        rows = [{**row, **values} for row in json.loads(files[f"data/{label}.json"])]
        files[f"data/{label}.json"] = b"[\n" + b",\n".join(json.dumps(row).encode() for row in rows) + b"\n]\n"

    return change


def with_file(name: str, content: bytes) -> Callable[[dict[str, bytes]], None]:
    return lambda files: files.update({name: content})


def of_version(version: int) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files["manifest.json"] = json.dumps({**json.loads(files["manifest.json"]), "version": version}).encode()

    return change


def with_zone(zone: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        manifest = json.loads(files["manifest.json"])
        manifest["fleet"]["time_zone"] = zone
        files["manifest.json"] = json.dumps(manifest).encode()

    return change


def with_photos_of(content: bytes) -> Callable[[dict[str, bytes]], None]:
    return lambda files: files.update({name: content for name in files if name.startswith("photos/")})


SPOILED: dict[str, tuple[Callable[[dict[str, bytes]], None], str]] = {
    "no manifest": (lambda files: files.pop("manifest.json"), "not-an-export"),  # type: ignore[dict-item, return-value]
    "another format": (with_file("manifest.json", b'{"format": "other"}'), "not-an-export"),
    "another version": (of_version(99), "other-version"),
    "an unknown table": (with_file("data/fleet.Crown.json", b"[]\n"), "unknown-table"),
    "a zone that is none": (with_zone("Nowhere/Never"), "unknown-zone"),
    "rows that are not JSON": (with_file("data/fleet.Vehicle.json", b"[\n{not json}\n]\n"), "not-an-export"),
    "rows that are no objects": (with_file("data/fleet.Vehicle.json", b"[\n1\n]\n"), "not-an-export"),
    "a column that is none": (in_rows("fleet.Vehicle", crown=1), "unknown-column"),
    "another fleet's rows": (in_rows("fleet.Vehicle", fleet_id=str(uuid.uuid4())), "unknown-column"),
    "ids that are none": (in_rows("fleet.Vehicle", id="1"), "not-an-export"),
    "the same id twice": (in_rows("fleet.Vehicle", id="00000000-0000-4000-8000-000000000001"), "contradiction"),
    "a name that is too long": (in_rows("fleet.Vehicle", name="x" * 81), "invalid"),
    "a text that is a number": (in_rows("fleet.Vehicle", name=5), "invalid"),
    "a yes that is none": (in_rows("fleet.Vehicle", archived="maybe"), "invalid"),
    "a day that is none": (in_rows("fleet.Vehicle", first_used_on="2026-13-01"), "invalid"),
    "a distance that is none": (in_rows("fleet.OdometerReading", total_km="NaN"), "invalid"),
    "a distance that is negative": (in_rows("fleet.OdometerReading", total_km="-1", shown_km="-1"), "contradiction"),
    "an instant without a zone": (in_rows("fleet.Vehicle", created_at="2026-01-01T00:00:00"), "invalid"),
    "nothing where something must be": (in_rows("fleet.Vehicle", first_used_on=None), "invalid"),
    "a grade that is none": (in_rows("inspections.Finding", grade=9), "invalid"),
    "a check that is none": (in_rows("inspections.Result", check_key="no.such"), "invalid"),
    "a vehicle that is not there": (in_rows("inspections.Finding", vehicle_id=str(uuid.uuid4())), "invalid"),
    "photos that are none": (with_photos_of(b"<svg onload='alert(1)'/>"), "not-a-picture"),
}


@pytest.mark.parametrize("name", SPOILED)
def test_a_made_up_archive_is_refused_with_the_place_and_leaves_nothing(db: Any, archive_path: Path, name: str) -> None:
    change, code = SPOILED[name]
    files, access = kept(), empty_fleet()
    before = Fleet.objects.filter(pk=access.fleet.pk).values().get()
    with pytest.raises(InvalidInput) as refused:
        restore_fleet(access, spoiled(archive_path, change), lambda fraction: None)
    assert code in {fault.code for fault in refused.value.faults}, refused.value.faults
    assert len(refused.value.faults) <= 100
    assert kept() == files
    assert not any(table.objects.within(access.fleet).exists() for table in exported_tables())
    assert Fleet.objects.filter(pk=access.fleet.pk).values().get() == before


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 nothing", b"no zip at all" * 100])
def test_what_is_no_archive_is_refused(db: Any, data: bytes) -> None:
    with pytest.raises(InvalidInput, match="no export"):
        restore_fleet(empty_fleet(), io.BytesIO(data), lambda fraction: None)


def test_an_archive_that_unpacks_to_more_than_there_may_be_is_refused_before_it_is_unpacked(
    db: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fleetcare.portal.exchange import archive as archives

    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("manifest.json", b"0" * 5_000)
    monkeypatch.setattr(archives, "MOST_UNPACKED_BYTES", 4_000)
    with pytest.raises(InvalidInput, match="too large when unpacked"):
        restore_fleet(empty_fleet(), written, lambda fraction: None)


def test_a_foreign_picture_is_drawn_anew_and_loses_what_it_carried(db: Any, archive_path: Path) -> None:
    access = empty_fleet()
    restore_fleet(access, spoiled(archive_path, with_photos_of(telephone_jpeg())), lambda fraction: None)
    from fleetcare.support import stored_files

    for row in Photo.objects.within(access.fleet):
        data = stored_files.content_of(row.picture)
        assert b"7731" not in data
        assert is_plain_jpeg(data)


def test_our_own_pictures_are_plain_and_others_are_not() -> None:
    from inspections.services.pictures import redrawn

    mine = redrawn(encoded(drawn(300, 200))).picture
    assert is_plain_jpeg(mine)
    twice_ended = mine + b"\xff\xd9"
    for other in (
        mine + b"x",
        mine[:-2],
        twice_ended,
        telephone_jpeg(),
        encoded(drawn(), "PNG"),
        b"",
        b"\xff\xd8\xff\xd9",
    ):
        assert not is_plain_jpeg(other)


def test_new_ids_stand_in_the_order_of_the_old_ones() -> None:
    old = [uuid.UUID(int=(n // 3) << 100 | n) for n in range(300)] + [uuid.uuid4() for _ in range(300)]
    new = fresh_ids(old)
    assert len(set(new.values())) == 600
    assert not set(new.values()) & set(old)
    assert [new[key] for key in sorted(old)] == sorted(new.values())
    assert {key.version for key in new.values()} == {7}


def test_ids_are_followed_into_what_is_stored_as_json() -> None:
    old, new, other = (str(uuid.uuid4()) for _ in range(3))
    said = {old: [old, {"x": f"follow-up:{old}:road-test"}, other, 1, None]}
    wanted = {new: [new, {"x": f"follow-up:{new}:road-test"}, other, 1, None]}
    assert with_fresh_ids(said, {old: new}) == wanted


def test_a_large_fleet_is_written_in_a_fixed_number_of_queries(full: Cast, tmp_path: Path) -> None:
    counts = []
    for extra in (0, 5):
        for number in range(extra):
            factories.vehicle(full.fleet, name=f"More {number}")
        with CaptureQueriesContext(connection) as found:
            exported(full.access, tmp_path / f"{extra}.zip")
        counts.append(len(found))
    assert counts[0] == counts[1] <= len(exported_tables()) + 6
