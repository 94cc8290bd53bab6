"""Runs the benchmark suites one after the other: `python -m tests.benchmarks [suite ...]`; each prints its JSON."""

import subprocess
import sys
import time

SUITES = {
    "judge": "tests.benchmarks.judge.calibration",
    "backlog": "tests.benchmarks.backlog",
    "reads": "tests.benchmarks.reads",
    "writes": "tests.benchmarks.writes",
    "cold-start": "tests.benchmarks.cold_start",
    "judge-speed": "tests.benchmarks.judge.speed",
    "wear": "tests.benchmarks.judge_wear.coverage",
    "lives": "tests.benchmarks.learning.accuracy",
    "lives-models": "tests.benchmarks.learning.models",
    "lives-speed": "tests.benchmarks.learning.speed",
    "planner": "tests.benchmarks.planner.speed",
    "policy": "tests.benchmarks.policy",
}


def main(names: list[str]) -> int:
    """0 when every suite ran; an unknown name lists the known ones."""
    unknown = sorted(set(names) - set(SUITES))
    if unknown:
        print(f"unknown: {', '.join(unknown)}; known: {', '.join(SUITES)}", file=sys.stderr)
        return 2
    failed = []
    for name in names or SUITES:
        started = time.perf_counter()
        print(f"== {name} ({SUITES[name]})", flush=True)
        if subprocess.run([sys.executable, "-m", SUITES[name]], check=False).returncode:
            failed.append(name)
        print(f"== {name}: {time.perf_counter() - started:.0f} s", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
