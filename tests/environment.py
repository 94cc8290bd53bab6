"""Loaded before the settings: tests never touch an installation's data."""

import atexit
import os
import shutil
import tempfile

_DATA = tempfile.mkdtemp(prefix="fleetcare-tests-")
atexit.register(shutil.rmtree, _DATA, ignore_errors=True)
os.environ["FLEETCARE_DATA"] = _DATA
os.environ.setdefault("LOG_LEVEL", "ERROR")
# Tests ask faster than anybody; those about limits set their own.
for name in (
    "REQUESTS_PER_MINUTE_OF_KEY",
    "REQUESTS_PER_MINUTE_OF_FLEET",
    "REQUESTS_PER_MINUTE_OF_ADDRESS",
    "COSTLY_REQUESTS_PER_MINUTE",
):
    os.environ.setdefault(name, "1000000")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
