"""The worker app. The broker only rings a bell: what is to be done stands in the database."""

import os

from celery import Celery
from kombu.transport import TRANSPORT_ALIASES

# The matrices are small: threads of the linear algebra library would only fight over the processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleetcare.config.settings")

# kombu's own queue in files ends a worker that reads a message while it is being written.
TRANSPORT_ALIASES["filesystem"] = "fleetcare.support.file_queue:Transport"

app = Celery("fleetcare")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["inspections", "scheduling", "fleetcare.portal"])
