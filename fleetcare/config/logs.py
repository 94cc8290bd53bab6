"""Where log lines go and how they look."""

from typing import Any


def logging_of(level: str, form: str) -> dict[str, Any]:
    """Django's setting: everything to the standard error, as lines for people or JSON for machines (`form`)."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "line": {"()": "fleetcare.support.logs.LineFormatter"},
            "json": {"()": "fleetcare.support.logs.JsonFormatter"},
        },
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": form}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {"django.request": {"level": level}},
    }
