"""The web server's entry."""

import os

from django.core.wsgi import get_wsgi_application

# The matrices are small: threads of the linear algebra library would only fight over the processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleetcare.config.settings")

application = get_wsgi_application()
