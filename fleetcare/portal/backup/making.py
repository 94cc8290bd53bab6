"""Making a backup: files, database, files again, and last the manifest."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from fleetcare.portal.backup.databases import applied_migrations, write_database
from fleetcare.portal.backup.manifest import Manifest, file_sha256

MEDIA, KEY = "media", "secret-key"
_UNFINISHED = ".unfinished-"


def make_backup(target: Path) -> Manifest:
    """Writes a backup into a new folder; raises FileExistsError where there is one already.

    Nothing stops for it: the database gives a copy of one moment. Files have random names and never change, so those
    copied before that moment and those copied after it together hold every file that a row of that moment names.
    """
    if target.exists():
        raise FileExistsError(target)
    draft = target.with_name(f"{_UNFINISHED}{target.name}")
    shutil.rmtree(draft, ignore_errors=True)
    draft.mkdir(parents=True, mode=0o700)
    lost = _copy_media(draft / MEDIA)
    tables = write_database(draft)
    lost |= _copy_media(draft / MEDIA)
    _copy_key(draft / KEY)
    files = {path.relative_to(draft).as_posix(): file_sha256(path) for path in _files(draft)}
    manifest = Manifest(
        made_at=timezone.now().isoformat(),
        database=connection.vendor,
        migrations=applied_migrations(),
        tables=tables,
        files=dict(sorted(files.items())),
        lost=sorted(lost),
    )
    manifest.write(draft)
    draft.rename(target)
    return manifest


def _copy_media(target: Path) -> set[str]:
    """Copies what is not there yet; returns what went while it was being copied."""
    root, lost = Path(settings.MEDIA_ROOT), set()
    for path in _files(root):
        copy = target / path.relative_to(root)
        if copy.exists():
            continue
        copy.parent.mkdir(parents=True, exist_ok=True)
        try:
            shutil.copy2(path, copy)
        except FileNotFoundError:
            lost.add(path.relative_to(root).as_posix())
    return lost


def _copy_key(target: Path) -> None:
    """The signing key of an installation that made its own; a given one is the giver's to keep."""
    kept = settings.DATA_DIR / KEY
    if kept.exists() and kept.read_text(encoding="ascii") == settings.SECRET_KEY:
        handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(settings.SECRET_KEY)


def _files(root: Path) -> Iterator[Path]:
    for path in root.rglob("*"):
        if path.is_file() and not path.name.startswith(_UNFINISHED):
            yield path
