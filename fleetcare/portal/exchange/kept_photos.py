"""Photos of an export on their way back: each one decoded before it is believed, and gone again if the way fails."""

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.portal.exchange.archive import Archive
from fleetcare.portal.exchange.record import PHOTOS, Json
from fleetcare.support import stored_files
from inspections.services.photos import FOLDER
from inspections.services.pictures import Refused, is_plain_jpeg, prepared

Note = Callable[[str, Json, str, str, str], None]


@dataclass(frozen=True, slots=True)
class _Kept:
    """Where a picture was written, and what its row says of it."""

    picture: str
    thumbnail: str
    width_px: int
    height_px: int
    size_bytes: int
    sha256: str


class KeptPhotos:
    """Files written before rows are restored; unless `keep` is called they are deleted at the end of the block."""

    def __init__(self, access: Access, archive: Archive) -> None:
        self._access, self._archive = access, archive
        self._kept: dict[str, _Kept] = {}
        self._names: list[str] = []
        self._stay = False

    def __enter__(self) -> "KeptPhotos":
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        if kind is not None or not self._stay:
            self.drop()

    def keep(self) -> None:
        """Everything went well: the files stay."""
        self._stay = True

    def drop(self) -> None:
        """Deletes what was written."""
        stored_files.drop(*self._names)

    def prepare(self, note: Note, progress: Callable[[float], None]) -> None:
        """Decodes and writes every picture of the export; one that is missing or none is noted."""
        rows = list(self._archive.rows(PHOTOS))
        for number, row in enumerate(rows, 1):
            self._prepare(row, note)
            progress(number / len(rows))

    def _prepare(self, row: Json, note: Note) -> None:
        key = str(row.get("id"))
        data = self._archive.photo(key)
        if data is None:
            note(PHOTOS, row, "picture", "missing", "The export has no picture for this row.")
            return
        try:
            found = prepared(data)
        except Refused as refusal:
            note(PHOTOS, row, "picture", refusal.code, "This is no picture that is taken.")
            return
        # A picture of ours is kept byte by byte; anything else as it was drawn anew.
        ours = is_plain_jpeg(data) and hashlib.sha256(data).hexdigest() == row.get("sha256")
        picture = data if ours else found.picture
        self._kept[key] = _Kept(
            picture=self._written(picture, ".jpg"),
            thumbnail=self._written(found.thumbnail, ".small.jpg"),
            width_px=found.width_px,
            height_px=found.height_px,
            size_bytes=len(picture),
            sha256=hashlib.sha256(picture).hexdigest(),
        )

    def _written(self, content: bytes, suffix: str) -> str:
        name = stored_files.keep(f"{FOLDER}/{self._access.fleet.pk}", content, suffix)
        self._names.append(name)
        return name

    def give(self, rows: Iterable[Any], old_ids: Mapping[str, str]) -> None:
        """Gives each row of a photo its files; `old_ids` are the ids under which the export names them."""
        for row in rows:
            kept = self._kept.get(old_ids[str(row.pk)])
            if kept is not None:
                row.picture, row.thumbnail = kept.picture, kept.thumbnail
                row.width_px, row.height_px = kept.width_px, kept.height_px
                row.size_bytes, row.sha256 = kept.size_bytes, kept.sha256
