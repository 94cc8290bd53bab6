"""Backups: whole or not there, known to be whole, and the same again where they are restored."""

import contextlib
import json
import os
import sqlite3
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg import sql

from fleetcare.portal.backup import manifest as manifests
from fleetcare.portal.backup.manifest import BrokenBackup, Manifest, Table, check_files, differences, table_of

ROOT = Path(__file__).parents[2]


def whole(folder: Path) -> Manifest:
    (folder / "media").mkdir(parents=True)
    (folder / "media" / "a").write_bytes(b"a photo")
    made = Manifest("2026-01-01T00:00:00+00:00", "sqlite", ["fleet.0001"], {"t": Table(1, "00")}, {}, [])
    made.files["media/a"] = manifests.file_sha256(folder / "media" / "a")
    made.write(folder)
    return made


def test_a_manifest_is_read_as_it_was_written(tmp_path: Path) -> None:
    made = whole(tmp_path)
    assert manifests.read(tmp_path) == made
    check_files(tmp_path, made)


@pytest.mark.parametrize("harm", ["changed", "gone", "unfinished", "newer"])
def test_a_backup_that_is_not_whole_is_refused(tmp_path: Path, harm: str) -> None:
    whole(tmp_path)
    if harm == "changed":
        (tmp_path / "media" / "a").write_bytes(b"a phot0")
    elif harm == "gone":
        (tmp_path / "media" / "a").unlink()
    elif harm == "unfinished":
        (tmp_path / manifests.NAME).unlink()
    else:
        body = json.loads((tmp_path / manifests.NAME).read_text())
        (tmp_path / manifests.NAME).write_text(json.dumps({**body, "version": 99}))
    with pytest.raises(BrokenBackup):
        check_files(tmp_path, manifests.read(tmp_path))


def test_tables_differ_where_a_row_does_and_not_where_only_the_order_does() -> None:
    rows = [(1, "a", None), (2, "b", b"\x00"), (3, "c", uuid.UUID(int=7))]
    assert table_of(rows) == table_of(reversed(rows))
    # Each of these is another table: a value, a missing row, a row twice, a value in the next column.
    others = [[*rows[:2], (3, "d", rows[2][2])], rows[:2], [*rows, rows[0]], [(1, None, "a"), *rows[1:]]]
    assert len({table_of(other) for other in [rows, *others]}) == len(others) + 1
    assert list(differences({"t": table_of(rows)}, {"t": table_of(rows[:2]), "u": Table(0, "")})) == [
        "t: 3 and 2 rows",
        "u: none and 0 rows",
    ]


class Place:
    """An installation of its own: data, and a database of the wanted kind."""

    def __init__(self, folder: Path, url: str | None) -> None:
        self.data = folder / f"place-{uuid.uuid4().hex[:6]}"
        self.data.mkdir()
        self.url = url
        self.environment = {
            **{name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "FLEETCARE_DATA"}},
            "FLEETCARE_DATA": str(self.data),
            "LOG_LEVEL": "ERROR",
            "OPENBLAS_NUM_THREADS": "1",
            **({"DATABASE_URL": url} if url else {}),
        }

    def run(self, *arguments: str, fails: bool = False) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert (done.returncode != 0) is fails, done.stderr[-3000:]
        return done.stdout + done.stderr

    def count(self, table: str) -> int:
        line: Any = psycopg.connect(self.url) if self.url else sqlite3.connect(self.data / "fleetcare.sqlite3")
        with contextlib.closing(line):
            return int(line.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0])  # noqa: S608 - our own tables


@contextlib.contextmanager
def fresh_postgres() -> Iterator[str]:
    server = os.environ.get("TEST_POSTGRES_URL")
    if not server:
        pytest.skip("TEST_POSTGRES_URL names no PostgreSQL to make databases in")
    name = f"fleetcare_backup_{uuid.uuid4().hex[:8]}"
    root = server.rpartition("/")[0]
    with psycopg.connect(f"{root}/postgres", autocommit=True) as line:
        line.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield f"{root}/{name}"
        finally:
            line.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


WRITER = """
import sys, time, uuid
from pathlib import Path
import django
django.setup()
from datetime import date
from django.db import transaction
from fleetcare.fleet.models import Fleet, User, Vehicle, Contact
from fleetcare.fleet.services.fleets import create_fleet
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.support import stored_files
from fleetcare.support.bell import bell_held
from inspections.models import Photo
from django.utils import timezone
user, _ = User.objects.get_or_create(email=f"writer{sys.argv[1]}@load.example")
access = create_fleet(user, name=f"load {sys.argv[1]}", kind="club", currency="EUR", time_zone="UTC",
                      distance_unit="km", limit_scheme="eu")
print("writing", flush=True)
until, stop = time.monotonic() + 240, Path(sys.argv[2])
with bell_held():
    while time.monotonic() < until and not stop.exists():
        time.sleep(0.05)
        # A vehicle with its photo and a contact: all three or none, in the copy too.
        name = uuid.uuid4().hex
        with transaction.atomic():
            car = add_vehicle(access, name=name, first_used_on=date(2012, 1, 1))
            picture = stored_files.keep("photos", name.encode() * 200, ".jpg")
            Photo.objects.create(fleet=access.fleet, vehicle=car, picture=picture, thumbnail=picture, width_px=1,
                height_px=1, size_bytes=1, sha256=name + name, entered_by="system")
            Contact.objects.create(fleet=access.fleet, name=name, email=f"{name}@load.example")
"""


def backed_up_under_load(place: Place, target: Path) -> Manifest:
    environment = {**place.environment, "DJANGO_SETTINGS_MODULE": "fleetcare.config.settings"}
    stop = place.data / "stop"
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(n), str(stop)],
            cwd=ROOT,
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        for n in range(2)
    ]
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "writing\n"
    time.sleep(1)
    place.run("backup", str(target))
    assert all(writer.poll() is None for writer in writers), "the backup was not made under load"
    time.sleep(1)
    stop.touch()
    for writer in writers:
        assert writer.wait(120) == 0
        writer.stdout.close()  # type: ignore[union-attr]
    return manifests.read(target)


def restored_the_same(tmp_path: Path, here: str | None, there: str | None) -> None:
    """Makes a backup while two processes write, restores it elsewhere, and holds the two against each other."""
    first, second, target = Place(tmp_path, here), Place(tmp_path, there), tmp_path / "kept"
    first.run("migrate", "-v0")
    second.run("migrate", "-v0")
    made = backed_up_under_load(first, target)
    rows = {name: table.rows for name, table in made.tables.items()}
    # One moment: of every group all or nothing, and then the writers went on.
    assert rows["fleet_vehicle"] == rows["inspections_photo"] == rows["fleet_contact"] > 0
    assert rows["fleet_vehicle"] < first.count("fleet_vehicle")
    assert "is whole" in second.run("restore", str(target), "--check")
    assert second.count("fleet_vehicle") == 0
    assert "every table and file the same" in second.run("restore", str(target))
    assert {name: second.count(name) for name in rows} == rows
    kept = {path.name for path in (second.data / "media").rglob("*") if path.is_file()}
    assert len(kept) >= rows["inspections_photo"]
    # What was recorded is recorded, and goes on being so.
    assert rows["fleet_auditentry"] == second.count("fleet_auditentry") > rows["fleet_vehicle"]
    second.run("owner", "late@load.example", "--fleet", "Later")
    assert second.count("fleet_auditentry") > rows["fleet_auditentry"]
    assert "into an empty installation" in second.run("restore", str(target), fails=True)
    assert "there already" in first.run("backup", str(target), fails=True)
    harmed = next(path for path in target.rglob("*") if path.is_file() and path.parent.name != "kept")
    harmed.write_bytes(harmed.read_bytes()[:-1] + b"!")
    assert "has changed" in second.run("restore", str(target), "--check", fails=True)


@pytest.mark.slow
@pytest.mark.system
@pytest.mark.timeout(400)
def test_a_backup_of_sqlite_under_load_is_restored_the_same(tmp_path: Path) -> None:
    restored_the_same(tmp_path, None, None)


@pytest.mark.slow
@pytest.mark.system
@pytest.mark.timeout(400)
def test_a_backup_of_postgresql_under_load_is_restored_the_same(tmp_path: Path) -> None:
    with fresh_postgres() as here, fresh_postgres() as there:
        restored_the_same(tmp_path, here, there)
