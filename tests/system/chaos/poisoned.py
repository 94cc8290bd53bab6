"""A worker in which one letter kills whoever puts it into words; `python -m tests.system.chaos.poisoned worker …`."""

import os
import signal
import sys
from typing import Any

POISON = "person0@chaos.example"


def _arm() -> None:
    import django

    django.setup()
    from scheduling.services.letters import sending

    real = sending.worded

    def worded(letter: Any, reader: Any, now: Any) -> Any:
        if reader.email == POISON:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(letter, reader, now)

    sending.worded = worded


if __name__ == "__main__":
    _arm()
    from celery.__main__ import main

    sys.argv[0] = "celery"
    main()
