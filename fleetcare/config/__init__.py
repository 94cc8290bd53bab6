"""The top of the house: settings, addresses, the worker app."""

from fleetcare.config.celery import app as celery_app

__all__ = ["celery_app"]
