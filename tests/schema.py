"""The migrated schema of the last run, for SQLite in memory: migrating takes ten seconds, copying it none.

Kept in pytest's cache under a name made of every migration's bytes, so that another migration makes another.
"""

import hashlib
import os
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.commands import migrate
from django.db import connection
from django.db.migrations.loader import MigrationLoader


def _name() -> str:
    loader = MigrationLoader(None, load=False)
    loader.load_disk()
    modules = {sys.modules[type(migration).__module__] for migration in loader.disk_migrations.values()}
    digest = hashlib.sha256()
    # What is made beside the migrations: the triggers of the audit trail.
    modules |= {
        sys.modules[name] for name in ("fleetcare.support.record_triggers", "fleetcare.fleet.services.auditing")
    }
    for path in sorted(str(module.__file__) for module in modules):
        digest.update(path.encode() + Path(path).read_bytes())
    return f"{digest.hexdigest()[:32]}.sqlite3"


def migrating_once(folder: Path) -> Callable[..., Any]:
    """What stands in for the command's `handle`: copies the kept schema, or migrates and keeps it."""
    migrated = migrate.Command.handle

    def handle(self: migrate.Command, *args: Any, **options: Any) -> None:
        kept = folder / _name()
        connection.ensure_connection()
        if kept.exists():
            with sqlite3.connect(kept) as source:
                source.backup(connection.connection)
            source.close()
            return
        migrated(self, *args, **options)
        fresh = kept.with_suffix(f".{os.getpid()}")
        with sqlite3.connect(fresh) as target:
            connection.connection.backup(target)
        target.close()
        fresh.replace(kept)

    return handle
