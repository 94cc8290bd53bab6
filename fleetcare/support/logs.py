"""Log lines with the request they belong to, and without secrets or people.

What opens a calendar, a report or an estimate stands in an address; a database names an address of mail in its errors.
Everything is masked where a line is made, so that nothing can be logged past it.
"""

from __future__ import annotations

import json
import logging
import re
import time
from collections.abc import Callable
from datetime import UTC, datetime

from django.http import HttpRequest, HttpResponse

from fleetcare.support.doing import current

_SECRETS = (
    # A path segment long enough to be a secret and no UUID.
    (re.compile(r"(?<=/)(?![0-9a-fA-F-]{36}(?![\w:-]))[\w:-]{32,}"), "***"),
    (re.compile(r"\bfck_[a-z0-9]+_[0-9a-fA-F]+"), "fck_***"),
    (re.compile(r"\bwhsec_[\w+/=-]+"), "whsec_***"),
    (re.compile(r"(?<=://)[^/\s:@]*:[^/\s@]+(?=@)"), "***"),
    (re.compile(r"[\w.+-]+@[\w-]+\.[\w.-]*\w"), "***@***"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f\x85\u2028\u2029]")
_QUIET = frozenset({"/livez", "/readyz", "/metrics"})
requests = logging.getLogger("fleetcare.requests")


def masked(text: str) -> str:
    """The text without secrets and addresses of mail."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


def _on_one_line(text: str) -> str:
    """The text with control characters told instead of done: whoever writes into a line cannot begin another."""
    return _CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", text)


class LineFormatter(logging.Formatter):
    """For people: one line, then the traceback if there is one."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        about = current().request_id or "-"
        text = f"{at} {record.levelname} {record.name} {about} {_on_one_line(masked(record.getMessage()))}"
        if record.exc_info:
            text += "\n" + masked(self.formatException(record.exc_info))
        return text


class JsonFormatter(logging.Formatter):
    """For machines: one JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        doing = current()
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": masked(record.getMessage()),
            "request_id": doing.request_id or None,
            "actor": doing.actor,
            **getattr(record, "told", {}),
        }
        if record.exc_info:
            line["exception"] = masked(self.formatException(record.exc_info))
        return json.dumps(line, default=str)


class RequestLogMiddleware:
    """One line for each request: what was asked, what came of it, how long it took."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        answer = self.get_response(request)
        took_ms = round((time.perf_counter() - began) * 1000, 1)
        level = logging.DEBUG if request.path in _QUIET else logging.INFO
        # Without its parameters: people search for names and numbers.
        told = {"method": request.method, "path": masked(request.path), "status": answer.status_code, "ms": took_ms}
        requests.log(level, "%(method)s %(path)s %(status)s %(ms)s ms", told, extra={"told": told})
        return answer
