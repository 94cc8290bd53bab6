"""A worker that can be hurt while it runs; `python -m tests.system.chaos.hurtable worker …`.

Letters to the people named in the file `poison` of its data folder kill whoever puts them into words, or never end.
LEAP tells every process to let its clock leap to the offset in seconds that stands in the file `clock`. (A preloaded
faketime library would do it for any program, but breaks `time.sleep` of this Python: clock_nanosleep answers EINVAL.)
"""

import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import time_machine

LEAP = signal.SIGRTMIN + 3
"""One that neither the worker nor its children use for themselves."""


def _obey_the_clock(data: Path) -> None:
    real_time = time_machine.escape_hatch.time.time
    clock = time_machine.travel(time.time(), tick=True).start()

    def leap(*_: Any) -> None:
        clock.move_to(real_time() + float((data / "clock").read_text(encoding="ascii")))

    signal.signal(LEAP, leap)


def _take_poison(data: Path) -> None:
    import django

    django.setup()
    from scheduling.services.letters import sending

    real = sending.worded

    def worded(letter: Any, reader: Any, now: Any) -> Any:
        poison = json.loads((data / "poison").read_text()) if (data / "poison").exists() else {}
        if reader.email in poison.get("kill", ()):
            os.kill(os.getpid(), signal.SIGKILL)
        while reader.email in poison.get("hang", ()):
            time.sleep(0.1)
        return real(letter, reader, now)

    sending.worded = worded


if __name__ == "__main__":
    folder = Path(os.environ["FLEETCARE_DATA"])
    _obey_the_clock(folder)
    _take_poison(folder)
    from celery.__main__ import main

    sys.argv[0] = "celery"
    main()
