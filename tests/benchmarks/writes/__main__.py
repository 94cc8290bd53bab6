"""What an inspection with 60 results costs to store: `python -m tests.benchmarks.writes [postgres url]` prints JSON.

Floor: the same rows of one inspection and its results inserted by the driver alone, in one transaction, without
validation, findings, odometer, events and everything else that an inspection is. On PostgreSQL without waiting for
the disk. Cases alternate within a round; told are medians of processor time and of the clock.

Targets: 1.5 times the floor on PostgreSQL, 1.2 ms more than it on SQLite.
"""

import json
import sys

from tests.benchmarks.backlog.database import own_database, prepare


def main(url: str | None) -> None:
    prepare(url)
    from tests.benchmarks.writes.measured import measured

    with own_database():
        print(json.dumps(measured(), indent=2))


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else None)
