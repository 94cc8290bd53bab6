"""An export as it comes back: a ZIP that somebody may have made up, read without trusting a byte of it."""

import zipfile
from collections.abc import Iterator
from typing import IO

import orjson

from fleetcare.kernel.errors import InvalidInput
from fleetcare.portal.exchange.directories import contents_fit
from fleetcare.portal.exchange.record import FORMAT, VERSION, Json, exported_tables, label_of
from fleetcare.portal.exchange.writing import photo_name

MOST_BYTES = 512 * 1024 * 1024
MOST_UNPACKED_BYTES = 2 * 1024**3
MOST_ENTRIES = 50_000
_MOST_CONTENTS_BYTES = MOST_ENTRIES * 200
_LONGEST_LINE = 8 * 1024 * 1024
_MOST_PHOTO_BYTES = 12 * 1024 * 1024


def refused(code: str, sentence: str) -> InvalidInput:
    """Why an archive is not taken."""
    return InvalidInput.at("/file", code, sentence)


class Archive:
    """An export, opened. Raises InvalidInput for anything that is none, is too large, or is of another version."""

    def __init__(self, source: IO[bytes]) -> None:
        if not contents_fit(source, _MOST_CONTENTS_BYTES):
            raise refused("not-an-export", "This is no export of a fleet, or a damaged one.")
        try:
            self._zip = zipfile.ZipFile(source)
        except (zipfile.BadZipFile, OSError, ValueError) as error:
            raise refused("not-an-export", "This is no export of a fleet, or a damaged one.") from error
        entries = self._zip.infolist()
        if len(entries) > MOST_ENTRIES or sum(entry.file_size for entry in entries) > MOST_UNPACKED_BYTES:
            raise refused("too-large", "The export is too large when unpacked.")
        self._names = {entry.filename for entry in entries}
        self.manifest = self._manifest()

    def _manifest(self) -> Json:
        try:
            found = orjson.loads(self._bytes("manifest.json", _LONGEST_LINE))
        except orjson.JSONDecodeError as error:
            raise refused("not-an-export", "Its manifest is not JSON.") from error
        if not isinstance(found, dict) or found.get("format") != FORMAT:
            raise refused("not-an-export", "This is no export of a fleet.")
        if found.get("version") != VERSION:
            raise refused("other-version", f"This export is of version {found.get('version')}; {VERSION} is read.")
        if not isinstance(found.get("fleet"), dict):
            raise refused("not-an-export", "Its manifest does not tell the fleet's settings.")
        known = {label_of(table) for table in exported_tables()}
        odd = sorted(self._tables() - known)
        if odd:
            raise refused("unknown-table", f"There are tables that are not known here: {', '.join(odd)[:200]}.")
        return found

    def _tables(self) -> set[str]:
        inside = (name for name in self._names if name.startswith("data/"))
        return {name.removeprefix("data/").removesuffix(".json") for name in inside if name != "data/"}

    def _bytes(self, name: str, most: int) -> bytes:
        if name not in self._names:
            raise refused("not-an-export", f"There is no {name} in it.")
        try:
            with self._zip.open(name) as entry:
                # The size in the directory is a claim: no more than `most` is unpacked, whatever it says.
                data = entry.read(most + 1)
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
            raise refused("damaged", f"{name} in it is damaged.") from error
        if len(data) > most:
            raise refused("too-large", f"{name} in it is too large.")
        return data

    def rows(self, label: str) -> Iterator[Json]:
        """The rows of a table, one after the other; none where the export has no such table."""
        name = f"data/{label}.json"
        if name not in self._names:
            return
        try:
            with self._zip.open(name) as lines:
                while line := lines.readline(_LONGEST_LINE + 1):
                    if len(line) > _LONGEST_LINE:
                        raise refused("too-large", f"A row of {label} is too large.")
                    row = _row(line, label)
                    if row is not None:
                        yield row
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
            raise refused("damaged", f"{name} in it is damaged.") from error

    def photo(self, key: str) -> bytes | None:
        """The picture of a row; None where the export has none."""
        name = photo_name(key)
        return self._bytes(name, _MOST_PHOTO_BYTES) if name in self._names else None


def _row(line: bytes, label: str) -> Json | None:
    """A row from its line; None for the brackets around them."""
    text = line.strip().removesuffix(b",").removeprefix(b",").strip()
    if text in {b"[", b"]", b"[]", b""}:
        return None
    try:
        row = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise refused("not-an-export", f"A row of {label} is not JSON.") from error
    if not isinstance(row, dict):
        raise refused("not-an-export", f"A row of {label} is no object.")
    return row
