#!/usr/bin/env python
"""Administrative commands; `manage.py help` lists them."""

import os
import sys

if __name__ == "__main__":
    # The matrices are small: threads of the linear algebra library would only fight over the processors.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleetcare.config.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
