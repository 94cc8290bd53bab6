"""A worker whose clock can be made to leap while it runs; `python -m tests.system.chaos.leaping worker …`.

The offset in seconds stands in the file that CHAOS_CLOCK names; LEAP tells every process to read it. (A preloaded
faketime library would do it for any program, but breaks `time.sleep` of this Python: clock_nanosleep answers EINVAL.)
"""

import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import time_machine

LEAP = signal.SIGRTMIN + 3
"""One that neither the worker nor its children use for themselves."""


def _obey() -> None:
    file = Path(os.environ["CHAOS_CLOCK"])
    real_time = time_machine.escape_hatch.time.time
    clock = time_machine.travel(time.time(), tick=True).start()

    def leap(*_: Any) -> None:
        clock.move_to(real_time() + float(file.read_text(encoding="ascii")))

    leap()
    signal.signal(LEAP, leap)


if __name__ == "__main__":
    _obey()
    from celery.__main__ import main

    sys.argv[0] = "celery"
    main()
