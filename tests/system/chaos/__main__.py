"""The chaos suite by hand: `python -m tests.system.chaos [--long]`; prints the table of what was measured.

The long form takes 500 readers and 20 kills of the workers; needs TEST_POSTGRES_URL and redis-server for both stacks.
"""

import os
import re
import subprocess
import sys

LONG = {"CHAOS_READERS": "500", "CHAOS_KILLS": "20"}
_FOUND = re.compile(r"(test_\w+(?:\[\w+\])? +of \d+: .*|page p95 .*|\d+ writes answered.*|\d+ (?:passed|failed).*)")


def main(arguments: list[str]) -> int:
    more = {**LONG, "CHAOS_TIMEOUT": "1200"} if "--long" in arguments else {}
    command = [sys.executable, "-m", "pytest", "-q", "-s", "-p", "no:randomly", "tests/system/chaos/long_form.py"]
    done = subprocess.run(command, env={**os.environ, **more}, capture_output=True, text=True, check=False)
    for line in done.stdout.splitlines():
        found = _FOUND.search(line)
        if found:
            print(found[1])
    if done.returncode:
        print(done.stdout[-20_000:], file=sys.stderr)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
