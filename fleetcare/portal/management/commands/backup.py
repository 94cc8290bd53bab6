"""`manage.py backup FOLDER`: everything of this installation, while it runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleetcare.portal.backup.making import make_backup


class Command(BaseCommand):
    help = "Writes database, photos and other files into a new folder, with a manifest of hashes. Nothing has to stop."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path)

    def handle(self, *args: Any, folder: Path, **options: Any) -> None:
        try:
            manifest = make_backup(folder.absolute())
        except FileExistsError as error:
            raise CommandError(f"{folder} is there already; name a new folder.") from error
        except OSError as error:
            raise CommandError(f"The backup could not be written: {error}") from error
        rows = sum(table.rows for table in manifest.tables.values())
        self.stdout.write(f"{folder}: {rows} rows, {len(manifest.files)} files. It holds personal data: keep it safe.")
        for name in manifest.lost:
            self.stdout.write(f"Deleted by somebody while it was copied: {name}")
