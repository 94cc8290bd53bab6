"""How long the sweep that decides who is told what takes over a million due items, against one plain INSERT … SELECT.

    DATABASE_URL=postgres://… python -m tests.benchmarks.reminders.sweep [items]

Fills a database of its own beside the one named (its name with `_sweep`), measures, and drops it.
"""

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

# Only numbers of this module are put into statements.
# ruff: noqa: S608

ITEMS_A_FLEET = 200
VEHICLES_A_FLEET = 20


def prepare() -> None:
    """Points the settings at a database of its own and makes its tables."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleetcare.config.settings")
    import django
    from django.conf import settings

    django.setup()
    config = settings.DATABASES["default"]
    assert "postgres" in config["ENGINE"], "set DATABASE_URL to a PostgreSQL server"
    from django.core.management import call_command
    from django.db import connection

    name = f"{config['NAME']}_sweep"
    _server(config, f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)', f'CREATE DATABASE "{name}"')
    config["NAME"] = connection.settings_dict["NAME"] = name
    call_command("migrate", verbosity=0)


def drop() -> None:
    from django.conf import settings
    from django.db import connection

    connection.close()
    config = settings.DATABASES["default"]
    _server(config, f'DROP DATABASE "{config["NAME"]}" WITH (FORCE)')


def _server(config: dict[str, Any], *statements: str) -> None:
    import psycopg

    where = {"host": config["HOST"], "port": config["PORT"], "user": config["USER"], "password": config["PASSWORD"]}
    with psycopg.connect(dbname="postgres", autocommit=True, **where) as line:
        for statement in statements:
            line.execute(statement)


def fill(items: int) -> None:
    """Fleets with one member each, vehicles, and items of which each is due today."""
    from django.db import connection

    fleets = items // ITEMS_A_FLEET
    with connection.cursor() as cursor:
        for sql in (
            f"""INSERT INTO fleet_fleet (id, name, kind, currency, distance_unit, time_zone, limit_scheme,
                  labour_per_hour_minor, price_factor, version, created_at)
                SELECT gen_random_uuid(), 'F' || n, 'household', 'EUR', 'km', 'UTC', 'eu', 1500, 1, 1, now()
                FROM generate_series(1, {fleets}) n""",
            """INSERT INTO fleet_user (id, password, email, name, language, time_zone, is_active, created_at)
                SELECT id, '', name || '@x.example', '', 'en', 'UTC', true, now() FROM fleet_fleet""",
            """INSERT INTO fleet_membership (id, fleet_id, user_id, role, created_at)
                SELECT gen_random_uuid(), id, id, 'owner', now() FROM fleet_fleet""",
            f"""INSERT INTO fleet_vehicle (id, fleet_id, name, plate, vin, make, model, first_used_on, traits, note,
                  archived, version, created_at)
                SELECT gen_random_uuid(), f.id, 'V' || n, '', '', '', '', '2010-01-01', '{{}}', '', false, 1, now()
                FROM fleet_fleet f, generate_series(1, {VEHICLES_A_FLEET}) n""",
            f"""INSERT INTO scheduling_dueitem (id, fleet_id, vehicle_id, kind, source, period, what, part_key,
                  position, safety, limit_on, due_on, earliest_on, latest_on, soon_on, overdue_on, reached, state,
                  announced_state, closed_because, sequence, changed_at, version)
                SELECT gen_random_uuid(), v.fleet_id, v.id, 'service', 'rule:' || n, '1', 'Thing', '', '', false,
                  current_date, current_date, current_date, current_date, current_date - 30, current_date + 1,
                  0, 2, 2, '', 0, now() - interval '1 day', 1
                FROM fleet_vehicle v, generate_series(1, {ITEMS_A_FLEET // VEHICLES_A_FLEET}) n""",
        ):
            cursor.execute(sql)
        cursor.execute("ANALYZE")


def plain_insert() -> int:
    """The same rows by the plainest statement: no days, no wishes, no look at what was told."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            """INSERT INTO scheduling_delivery (id, fleet_id, reader_id, item_id, channel, stage, kind, made_at)
               SELECT gen_random_uuid(), i.fleet_id, c.id, i.id, 'mail', 3, 'digest', now()
               FROM scheduling_dueitem i JOIN scheduling_reminderchoice c ON c.fleet_id = i.fleet_id"""
        )
        return int(cursor.rowcount)


def empty() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE scheduling_delivery CASCADE")
        cursor.execute("UPDATE scheduling_reminderchoice SET swept_on = NULL")
        cursor.execute("VACUUM ANALYZE")


def its_turn_again() -> None:
    """As if ten minutes had gone: everything is gone through again."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("UPDATE scheduling_reminderchoice SET swept_on = NULL")


def timed(work: Callable[[], int]) -> tuple[float, int]:
    began = time.perf_counter()
    done = work()
    return time.perf_counter() - began, done


def processor_seconds(work: Callable[[], int]) -> tuple[float, float]:
    """How long the work takes on the clock, and on the processor of the database's process beside us.

    A machine that does much else stretches the one and hardly the other.
    """
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (pid,) = cursor.fetchone()
    stat = Path(f"/proc/{pid}/stat")

    def used() -> float:
        fields = stat.read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    before = used()
    seconds, _ = timed(work)
    return seconds, used() - before


def pairs(count: int) -> list[dict[str, float]]:
    """The first sweep and the plain statement in turn, the one first and then the other."""
    from scheduling.services.notices import make_notices

    found = []
    for number in range(count):
        took: dict[str, tuple[float, float]] = {}
        works = [("plain", plain_insert), ("sweep", make_notices)]
        for name, work in works if number % 2 else reversed(works):
            empty()
            took[name] = processor_seconds(work)
        (plain, plain_cpu), (sweep, sweep_cpu) = took["plain"], took["sweep"]
        found.append(
            {
                "plain_processor_seconds": round(plain_cpu, 2),
                "sweep_processor_seconds": round(sweep_cpu, 2),
                "processor_ratio": round(sweep_cpu / plain_cpu, 2),
                "clock_ratio": round(sweep / plain, 2),
            }
        )
    return found


def measure(items: int) -> dict[str, Any]:
    from scheduling.services.notices import make_notices, welcome_readers

    fill(items)
    welcome_readers()
    found: dict[str, Any] = {"items": items, "rounds": []}
    for _ in range(1):
        empty()
        plain_seconds, plain_rows = timed(plain_insert)
        empty()
        first_seconds, first_rows = timed(make_notices)
        assert plain_rows == first_rows == items, (plain_rows, first_rows)
        repeats = [timed(make_notices) for _ in range(3)]
        whole = []
        for _ in range(3):
            its_turn_again()
            whole.append(timed(make_notices))
        assert all(rows == 0 for _, rows in repeats + whole)
        found["rounds"].append(
            {
                "plain_seconds": round(plain_seconds, 2),
                "first_seconds": round(first_seconds, 2),
                "ratio": round(first_seconds / plain_seconds, 2),
                "next_tick_seconds": [round(seconds, 2) for seconds, _ in repeats],
                "whole_again_seconds": [round(seconds, 2) for seconds, _ in whole],
            }
        )
    empty()
    found["pairs"] = pairs(4)
    return found


if __name__ == "__main__":
    prepare()
    try:
        print(json.dumps(measure(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000), indent=1))
    finally:
        drop()
