"""Loaded before the settings: tests never touch an installation's data."""

import atexit
import os
import shutil
import tempfile

_DATA = tempfile.mkdtemp(prefix="fleetcare-tests-")
atexit.register(shutil.rmtree, _DATA, ignore_errors=True)
os.environ["FLEETCARE_DATA"] = _DATA
os.environ.setdefault("LOG_LEVEL", "ERROR")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
