"""How long a process takes to start and how much memory it holds: `python -m tests.benchmarks.cold_start` prints JSON.

`manage.py check` against the same of bare Django with DRF and nothing of ours, each in a fresh interpreter, in turns;
medians of processor time and the median of the rounds' ratios. Then the web process: everything imported, one answer
given, its largest resident size.

Targets: check 1.2 times the bare one, web process 90 MiB.
"""

import json
import os
import subprocess
import sys
import tempfile
from statistics import median

ROUNDS = 7
_PRELUDE = "import resource, sys; "
_TOLD = (
    "; used = resource.getrusage(resource.RUSAGE_SELF); "
    "print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, file=sys.__stdout__)"
)
_BARE = (
    "from django.conf import settings; settings.configure(ROOT_URLCONF='rest_framework.urls', SECRET_KEY='x', "
    "INSTALLED_APPS=['django.contrib.auth', 'django.contrib.contenttypes', 'django.contrib.sessions', "
    "'django.contrib.messages', 'rest_framework'], DATABASES={'default': {'ENGINE': 'django.db.backends.sqlite3', "
    "'NAME': ':memory:'}}, DEFAULT_AUTO_FIELD='django.db.models.BigAutoField'); "
    "import django; django.setup(); from django.core.management import call_command; "
    "import rest_framework.views, rest_framework.generics; call_command('check')"
)
_OURS = "import django; django.setup(); from django.core.management import call_command; call_command('check')"
_WEB = (
    "from fleetcare.config.wsgi import application; from django.test import RequestFactory; "
    "application.get_response(RequestFactory().get('/healthz', SERVER_NAME='localhost'))"
)
CASES = {"interpreter": "pass", "bare_check": _BARE, "check": _OURS, "web": _WEB}


def started(code: str, folder: str) -> tuple[float, float]:
    """Processor seconds and MiB of a fresh interpreter that ran `code`."""
    settings = {"DJANGO_SETTINGS_MODULE": "fleetcare.config.settings", "FLEETCARE_DATA": folder, "LOG_LEVEL": "ERROR"}
    environment = {**os.environ, **({} if code == _BARE else settings)}
    done = subprocess.run(
        [sys.executable, "-c", _PRELUDE + code + _TOLD], env=environment, capture_output=True, text=True, check=True
    )
    seconds, size = done.stdout.split()[-2:]
    return float(seconds), float(size)


def measured() -> dict[str, object]:
    """Every case, and how much longer our check takes than the bare one."""
    with tempfile.TemporaryDirectory() as folder:
        for code in CASES.values():
            started(code, folder)
        rounds = [{name: started(code, folder) for name, code in CASES.items()} for _ in range(ROUNDS)]
    told: dict[str, object] = {
        name: {
            "cpu_s": round(median(each[name][0] for each in rounds), 2),
            "mib": round(median(each[name][1] for each in rounds), 1),
        }
        for name in CASES
    }
    return {**told, "check_ratio": round(median(each["check"][0] / each["bare_check"][0] for each in rounds), 2)}


if __name__ == "__main__":
    print(json.dumps(measured(), indent=2))
