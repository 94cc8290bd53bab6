"""A database of the benchmark's own on SQLite or PostgreSQL; imported before anything that needs the settings."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager


def prepare(url: str | None) -> None:
    """Sets Django up on the database server at `url`, or on a file that goes away with the process."""
    os.environ["FLEETCARE_DATA"] = tempfile.mkdtemp(prefix="fleetcare-benchmark-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleetcare.config.settings"
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("LOG_LEVEL", "ERROR")
    os.environ.pop("DATABASE_URL", None)
    if url:
        os.environ["DATABASE_URL"] = url
    import django

    django.setup()


@contextmanager
def own_database() -> Iterator[None]:
    """Tables to fill, dropped afterwards."""
    from django.db import connection

    if connection.vendor == "sqlite":
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        yield
        return
    name = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["NAME"] = f"fleetcare_benchmark_{os.getpid()}"
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)
