"""What a vehicle and a page of fifty cost to read: `python -m tests.benchmarks.reads [postgres url]` prints JSON.

Floor: the driver alone with prepared statements and the same encoder, on the same connection. Against it the plain
function over stored columns, and the whole API with its key and its limits, in one process without a network. Cases
alternate within a round; told are medians of the rounds' ratios, and of their processor time. Three sizes of fleet;
the exponent is that of growth with the fleet. Without a url on SQLite, whose floor is so low that only times tell.

Targets: plain function 2 times the floor, API 3.5 times, exponents near 0.
"""

import json
import sys

from tests.benchmarks.backlog.database import own_database, prepare


def main(url: str | None) -> None:
    prepare(url)
    from tests.benchmarks.reads.measured import measured

    with own_database():
        print(json.dumps(measured(), indent=2))


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else None)
