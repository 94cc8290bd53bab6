"""The complete export of a fleet: one ZIP with everything as JSON, the same as CSV, the photos, and what is what."""

import csv
import hashlib
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson
from django.db import connection, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, Membership
from fleetcare.fleet.words import Role
from fleetcare.portal.exchange.record import (
    FOR_READING,
    FORMAT,
    LEFT_OUT,
    PHOTOS,
    VERSION,
    Json,
    Table,
    columns_of,
    exported_tables,
    label_of,
    plain,
    row_json,
)
from fleetcare.support import stored_files

Progress = Callable[[float], None]
_AT_ONCE = 1_000
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_FLEET = ("name", "kind", "currency", "distance_unit", "time_zone", "limit_scheme", "labour_per_hour_minor",
          "price_factor")  # fmt: skip


def export_fleet(access: Access, path: Path, now: datetime, progress: Progress) -> Json:
    """Writes the export of a fleet to `path` and returns what is in it. Owners only.

    The tables are read as they are at one moment, so that the rows fit together. Photos come after that: a database
    is not held while files are copied, and one that is deleted meanwhile is named as missing.
    """
    access.require(Role.OWNER)
    tables = exported_tables()
    counts: dict[str, int] = {}
    digests: dict[str, str] = {}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        with _one_moment():
            for table in tables:
                counts[label_of(table)] = _write_table(archive, access, table, digests)
            _write_members(archive, access)
            settings = {name: plain(value) for name, value in _settings(access).items()}
            photos = [(str(photo.pk), photo.picture) for photo in _rows(access, _photo_table())]
        progress(0.3)
        missing = _write_photos(archive, photos, lambda share: progress(0.3 + 0.7 * share))
        manifest = _manifest(settings, now, counts, digests, missing)
        archive.writestr("manifest.json", orjson.dumps(manifest, option=orjson.OPT_INDENT_2))
        archive.writestr("README.txt", _readme(manifest))
    return {"rows": sum(counts.values()), "photos": counts.get(PHOTOS, 0), "missing_photos": missing}


@contextmanager
def _one_moment() -> Iterator[None]:
    """What is read inside is the state at its beginning, whatever is written meanwhile."""
    outermost = not connection.in_atomic_block
    with transaction.atomic():
        # SQLite's transactions are that by themselves.
        if outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield


def _photo_table() -> Table:
    return next(table for table in exported_tables() if label_of(table) == PHOTOS)


def _rows(access: Access, table: Table) -> Iterator[Any]:
    rows = table.objects.within(access.fleet).order_by("pk")
    yield from rows.iterator(chunk_size=_AT_ONCE)


def _write_table(archive: zipfile.ZipFile, access: Access, table: Table, digests: dict[str, str]) -> int:
    """One row a line within a JSON array, and beside it the same as CSV; returns how many rows there are."""
    label = label_of(table)
    sheet = io.StringIO(newline="")
    names = [field.attname for field in columns_of(table)]
    writer = csv.writer(sheet)
    writer.writerow(names)
    digest, count = hashlib.sha256(), 0
    with archive.open(f"data/{label}.json", "w", force_zip64=True) as lines:
        for row in _rows(access, table):
            body = row_json(row)
            line = (b",\n" if count else b"[\n") + orjson.dumps(body)
            digest.update(line)
            lines.write(line)
            writer.writerow([csv_cell(body[name]) for name in names])
            count += 1
        end = b"\n]\n" if count else b"[]\n"
        digest.update(end)
        lines.write(end)
    digests[f"data/{label}.json"] = digest.hexdigest()
    archive.writestr(f"csv/{label}.csv", "\ufeff" + sheet.getvalue())
    return count


def csv_text(rows: Iterable[Iterable[Any]]) -> str:
    """Rows as CSV that a spreadsheet opens as what it is."""
    sheet = io.StringIO(newline="")
    csv.writer(sheet).writerows([csv_cell(value) for value in row] for row in rows)
    return "\ufeff" + sheet.getvalue()


def csv_cell(value: Any) -> str:
    """A value as a cell that no spreadsheet takes for a formula (ASVS 5.0, 1.2.10)."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return str(value)
    text = value if isinstance(value, str) else orjson.dumps(value).decode()
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text


def _write_photos(archive: zipfile.ZipFile, photos: list[tuple[str, str]], progress: Progress) -> list[str]:
    """The pictures as they are kept, under the ids of their rows; returns the ids of those whose file is gone."""
    missing = []
    for number, (key, name) in enumerate(photos, 1):
        try:
            content = stored_files.content_of(name)
        except FileNotFoundError:
            missing.append(key)
            continue
        # A JPEG does not get smaller.
        archive.writestr(zipfile.ZipInfo(photo_name(key)), content, zipfile.ZIP_STORED)
        progress(number / len(photos))
    return missing


def photo_name(key: str) -> str:
    """Where the picture of a row lies in an export."""
    return f"photos/{key}.jpg"


def _write_members(archive: zipfile.ZipFile, access: Access) -> None:
    rows = Membership.objects.within(access.fleet).select_related("user").order_by("created_at", "id")
    people = [{"name": row.user.name, "email": row.user.email, "role": row.role} for row in rows]
    archive.writestr("members.json", orjson.dumps(people, option=orjson.OPT_INDENT_2))


def _settings(access: Access) -> Json:
    found: Json = Fleet.objects.filter(pk=access.fleet.pk).values(*_FLEET).get()
    return found


def _manifest(
    settings: Json, now: datetime, counts: dict[str, int], digests: dict[str, str], missing: list[str]
) -> Json:
    return {
        "format": FORMAT,
        "version": VERSION,
        "made_at": now.isoformat(),
        "fleet": settings,
        "rows": counts,
        "sha256": digests,
        "missing_photos": missing,
        "for_reading": dict(FOR_READING),
        "left_out": dict(LEFT_OUT),
    }


def _readme(manifest: Json) -> str:
    for_reading = "\n".join(f"  {label}: {why}" for label, why in FOR_READING.items())
    left_out = "\n".join(f"  {label}: {why}" for label, why in LEFT_OUT.items())
    return f"""The complete record of the fleet "{manifest["fleet"]["name"]}", exported {manifest["made_at"]}.

manifest.json   what this is (format {FORMAT}, version {VERSION}), the fleet's settings, how many rows each table has,
                and a SHA-256 of each file in data/
data/           every table as JSON: an array with one row a line. Names ending _km, _minor, _fraction tell the unit;
                amounts ending _minor are in the smallest unit of the fleet's currency; days are ISO 8601,
                instants UTC; ids are UUIDs, columns ending _id refer to them
csv/            the same tables as CSV (UTF-8, comma) for spreadsheets. A cell that would be taken for a formula has
                an apostrophe in front
photos/         every photo as it is kept, named by the id of its row in data/{PHOTOS}.json
members.json    who belonged to the fleet, for reading

The file restores into an empty fleet: everything but

{for_reading}

Not in this file:

{left_out}

An aid, no certificate: local inspection rules, the maker's data and a licensed technician come first.
"""
