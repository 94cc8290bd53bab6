"""`manage.py restore FOLDER`: a backup back into an empty installation; with --check only looked through."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleetcare.portal.backup.manifest import BrokenBackup
from fleetcare.portal.backup.restoring import check_backup, restore_backup


class Command(BaseCommand):
    help = "Restores a backup into an empty installation and compares every table and file with its manifest."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--check", action="store_true", help="read the whole backup and change nothing")

    def handle(self, *args: Any, folder: Path, check: bool, **options: Any) -> None:
        try:
            manifest = check_backup(folder) if check else restore_backup(folder)
        except BrokenBackup as error:
            raise CommandError(str(error)) from error
        rows = sum(table.rows for table in manifest.tables.values())
        done = "is whole" if check else "is restored, every table and file the same"
        self.stdout.write(f"{folder} of {manifest.made_at} {done}: {rows} rows, {len(manifest.files)} files.")
