"""Fills an empty PostgreSQL database: `python -m tests.benchmarks.generator <url> [fleets] [vehicles a fleet]`.

1,000 fleets of 100 vehicles are the full size: 500,000 inspections, 30 million results, a million findings, three years
of odometer readings; about 15 GB. Tables must exist and be empty of fleets. Prints what was made and how long it took.
"""

import json
import sys
import time

from tests.benchmarks.backlog.database import prepare


def main(url: str, fleets: int, vehicles_a_fleet: int) -> None:
    prepare(url)
    from django.core.management import call_command
    from django.utils import timezone

    from tests.benchmarks.generator.fleets import PARTS, Size, fill

    call_command("migrate", verbosity=0)
    size = Size(fleets, vehicles_a_fleet)
    begun = time.perf_counter()
    fill(size, timezone.now().date())
    inspections = size.vehicles * size.inspections_a_vehicle
    made = {"vehicles": size.vehicles, "inspections": inspections, "results": inspections * PARTS}
    print(json.dumps({**made, "seconds": round(time.perf_counter() - begun, 1)}))


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[2:4]]
    main(sys.argv[1], *given, *(1_000, 100)[len(given) :])
