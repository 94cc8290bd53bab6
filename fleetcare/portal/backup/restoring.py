"""Restoring a backup into an empty installation, and proof that it is the same."""

from __future__ import annotations

import shutil
from pathlib import Path

from django.conf import settings
from django.db import connection

from fleetcare.fleet.models import Fleet, User
from fleetcare.portal.backup.databases import (
    applied_migrations,
    check_copy,
    live_tables,
    restore_database,
)
from fleetcare.portal.backup.making import KEY, MEDIA
from fleetcare.portal.backup.manifest import BrokenBackup, Manifest, check_files, differences, file_sha256, read
from fleetcare.portal.leaving import erase_again


def check_backup(folder: Path) -> Manifest:
    """Reads the whole backup and changes nothing. Raises BrokenBackup for whatever would not come back."""
    manifest = read(folder)
    if manifest.database != connection.vendor:
        raise BrokenBackup(f"It is of {manifest.database}; this installation has {connection.vendor}.")
    check_files(folder, manifest)
    check_copy(folder, manifest.tables)
    return manifest


def restore_backup(folder: Path) -> Manifest:
    """Restores into an empty installation of the same version. Raises BrokenBackup, then nothing was changed.

    What was erased here since the backup was made is erased again.
    """
    manifest = check_backup(folder)
    if manifest.migrations != applied_migrations():
        raise BrokenBackup("The tables are of another version: restore with the version that made it, then update.")
    if Fleet.objects.exists() or User.objects.exists():
        raise BrokenBackup("There are fleets or people here already; restore into an empty installation.")
    _restore_files(folder, manifest)
    restore_database(folder)
    wrong = [*differences(manifest.tables, live_tables()), *_changed_files(folder, manifest)]
    if wrong:
        raise BrokenBackup("Not the same after restoring: " + "; ".join(wrong))
    erase_again()
    return manifest


def _media(folder: Path, manifest: Manifest) -> list[tuple[str, Path]]:
    root = Path(settings.MEDIA_ROOT)
    return [(name, root / Path(name).relative_to(MEDIA)) for name in manifest.files if name.startswith(f"{MEDIA}/")]


def _restore_files(folder: Path, manifest: Manifest) -> None:
    for name, target in _media(folder, manifest):
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(folder / name, target)
    if KEY in manifest.files:
        shutil.copy2(folder / KEY, settings.DATA_DIR / KEY)


def _changed_files(folder: Path, manifest: Manifest) -> list[str]:
    return [name for name, path in _media(folder, manifest) if file_sha256(path) != manifest.files[name]]
