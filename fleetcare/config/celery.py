"""The worker app. The broker only rings a bell: what is to be done stands in the database."""

import os

from celery import Celery

# The matrices are small: threads of the linear algebra library would only fight over the processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleetcare.config.settings")

app = Celery("fleetcare")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["inspections", "scheduling", "fleetcare.portal"])
