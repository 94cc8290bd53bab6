"""How long a fleet's backlog takes: `python -m tests.benchmarks.backlog [vehicles]` prints JSON.

2,000 vehicles whose 60 parts were looked at twice, a fifth of the parts with a finding, on SQLite in a file and,
where TEST_POSTGRES_URL names a server, on PostgreSQL. Measured is the answer over HTTP's whole way through the
application (no network), as clients page through it, and what stands behind it: loading, judging, deciding and
storing the figures of one vehicle, of 50, and of all. Medians; processor time of this process beside the clock, since
a database server computes too.

Target: the fleet's backlog within 1 s.
"""

import json
import os
import subprocess
import sys

from tests.benchmarks.backlog.database import own_database, prepare


def main(vehicles: int, url: str | None) -> None:
    prepare(url)
    from tests.benchmarks.backlog.measured import measured

    with own_database():
        print(json.dumps(measured(vehicles), indent=2))


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000
    if len(sys.argv) > 2:
        main(count, sys.argv[2])
    else:
        main(count, None)
        if server := os.environ.get("TEST_POSTGRES_URL"):
            again = [sys.executable, "-m", "tests.benchmarks.backlog", str(count), server]
            sys.exit(subprocess.run(again, check=False).returncode)
