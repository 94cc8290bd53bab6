"""What the backlog's order is worth: `python -m tests.benchmarks.policy [--full | --tuning]`.

Without a choice: ten clubs of 40 cars and forty households of 3, with a medium budget, by the policies that the
targets are about, about two minutes. `--full` runs every setting and policy, `--tuning` the tuning seeds alone.
"""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence

from tests.benchmarks.policy import policies as by
from tests.benchmarks.policy.figures import CLUBS, HOUSEHOLDS, TUNING, WORKSHOPS, Setting, rows

CLUB = Setting("club of 40, medium", CLUBS, 40)
HOUSEHOLD = Setting("household of 3, medium", HOUSEHOLDS, 3)
TARGETED = (by.PRODUCT_ANNUAL, by.PRODUCT)
LOOKING = (by.LOOKING_ANNUAL, by.LOOKING)
SKIPPED = Setting("club of 40, medium, 35 % of checks left out", CLUBS, 40, skipped=0.35)
LEARNING = (by.LEARNING_ANNUAL, by.LEARNING)
SHORT = ((CLUB, (*TARGETED, *LOOKING)), (HOUSEHOLD, (*TARGETED, *LOOKING)))
FULL = (
    (CLUB, (*by.POLICIES, *LEARNING, *LOOKING)),
    (SKIPPED, (*TARGETED, by.BLIND_ANNUAL, by.BLIND, *LOOKING)),
    (Setting("club of 40, tight", CLUBS, 40, "tight"), TARGETED),
    (Setting("club of 40, loose", CLUBS, 40, "loose"), TARGETED),
    (Setting("club of 40, medium, book off by two", CLUBS, 40, book_off=True), (*TARGETED, *LEARNING, by.TABLE)),
    (Setting("club of 40, medium, surprises run into debt", CLUBS, 40, debt=True), TARGETED),
    (HOUSEHOLD, (*by.POLICIES, *LEARNING, *LOOKING)),
    (Setting("household of 3, tight", HOUSEHOLDS, 3, "tight"), TARGETED),
    (Setting("household of 3, loose", HOUSEHOLDS, 3, "loose"), TARGETED),
    (Setting("workshop of 300, medium", WORKSHOPS, 300), TARGETED),
)
TUNED = ((Setting("club of 40, medium, tuning seeds", TUNING, 40), by.POLICIES),)
COLUMNS = ("eur_per_1000_km", "change", "failures_per_100_000_km", "unsafe_km_percent", "any_dangerous_km_percent")


def report(plan: Sequence[tuple[Setting, Sequence[by.Policy]]]) -> Iterator[dict[str, object]]:
    """Every row, printed as it is found."""
    for setting, policies in plan:
        print(f"\n{setting.name} ({len(setting.seeds)} fleets)", file=sys.stderr)
        for row in rows(setting, policies):
            told = "  ".join(f"{row[name]!s:>22}" if name == "change" else f"{row[name]:>6}" for name in COLUMNS)
            print(f"  {row['policy']!s:64}{told}", file=sys.stderr)
            yield row


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--full", action="store_true")
    options.add_argument("--tuning", action="store_true")
    chosen = options.parse_args()
    found = list(report(FULL if chosen.full else TUNED if chosen.tuning else SHORT))
    json.dump(found, sys.stdout, indent=1)
    sys.stdout.write("\n")
