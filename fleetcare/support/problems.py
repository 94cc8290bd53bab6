"""Problem documents (RFC 9457): every error of the API in one form, with the place of every fault."""

import logging
import sys
from collections.abc import Iterator
from typing import Any

import orjson
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from rest_framework import exceptions
from rest_framework.response import Response

from fleetcare.kernel.errors import DomainError, Fault, InvalidInput, NotFound
from fleetcare.support.throttling import TooMany, refusal_headers

TYPE_PREFIX = "urn:fleetcare:problem:"
MEDIA_TYPE = "application/problem+json"
_TITLES = {
    400: "The request is not valid",
    401: "Sign in or send a key",
    403: "Not allowed",
    404: "Not found",
    405: "Method not allowed here",
    406: "Cannot answer in that form",
    413: "The body is too large",
    415: "Cannot read that form",
    429: "Too many requests",
    500: "Something broke on our side",
    503: "Not available right now",
}
_UNAVAILABLE = (OperationalError, InterfaceError)
log = logging.getLogger(__name__)


def document(request: Any, status: int, code: str, title: str, detail: str, faults: Any = ()) -> dict[str, Any]:
    """The body of a problem: what kind, where, and how to find it in the log."""
    body: dict[str, Any] = {
        "type": TYPE_PREFIX + code,
        "title": title,
        "status": status,
        "detail": detail,
        "instance": f"urn:fleetcare:request:{getattr(request, 'request_id', '')}",
    }
    if faults:
        body["errors"] = [{"pointer": f.pointer, "code": f.code, "detail": f.detail} for f in faults]
    return body


def problem_response(request: HttpRequest, status: int, code: str, title: str, detail: str) -> HttpResponse:
    """A problem outside any API view: unknown address, too large a body, a fault of ours."""
    body = orjson.dumps(document(request, status, code, title, detail))
    return HttpResponse(body, status=status, content_type=MEDIA_TYPE)


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """The API's one exception handler; None lets an unforeseen error go on to the last resort."""
    request = context["request"]
    known = _as_domain_error(error)
    if known is None:
        return None
    body = document(request._request, known.status, known.code, known.title, known.detail, known.faults)  # noqa: SLF001
    response = Response(body, status=known.status, content_type=MEDIA_TYPE)
    if known.status == 401:
        response["WWW-Authenticate"] = 'Bearer realm="fleetcare"'
    if isinstance(known, TooMany):
        for name, value in refusal_headers(known).items():
            response[name] = value
    wait = getattr(error, "wait", None)
    if wait is not None:
        response["Retry-After"] = str(int(wait) + 1)
    return response


def _as_domain_error(error: Exception) -> DomainError | None:
    if isinstance(error, DomainError):
        return error
    if isinstance(error, Http404):
        return NotFound()
    if isinstance(error, exceptions.ValidationError):
        return InvalidInput.of(faults_of(error.detail))
    if isinstance(error, PermissionDenied):
        return _plain(403, "forbidden", "You may not do this.")
    if isinstance(error, RequestDataTooBig):
        return _plain(413, "too-large", "The body is too large.")
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return _plain(401, "unauthenticated", str(error.detail))
    if isinstance(error, exceptions.APIException):
        return _plain(error.status_code, error.default_code.replace("_", "-"), str(error.detail))
    return None


def _plain(status: int, code: str, detail: str) -> DomainError:
    problem = DomainError(detail, code=code)
    problem.status, problem.title = status, _TITLES.get(status, "Refused")
    return problem


def faults_of(detail: Any, pointer: str = "") -> Iterator[Fault]:
    """Every leaf of a serializer's errors as a fault with its JSON pointer (RFC 6901)."""
    if isinstance(detail, dict):
        for key, inner in detail.items():
            place = pointer if key == "non_field_errors" else f"{pointer}/{_escaped(key)}"
            yield from faults_of(inner, place)
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, dict | list)
            yield from faults_of(inner, f"{pointer}/{index}" if nested else pointer)
    else:
        yield Fault(pointer, str(getattr(detail, "code", "invalid")).replace("_", "-"), str(detail))


def _escaped(key: Any) -> str:
    return str(key).replace("~", "~0").replace("/", "~1")


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Anything under /api/ that is no route."""
    missing = NotFound()
    return problem_response(request, 404, missing.code, missing.title, missing.detail)


def is_unavailable() -> bool:
    """Whether the error being handled is a database that cannot be reached or is too busy: no fault of ours."""
    return isinstance(sys.exc_info()[1], _UNAVAILABLE)


def server_error(request: HttpRequest) -> HttpResponse:
    """The last resort under /api/: no stack, only the id to look for; 503 while the database is away."""
    if is_unavailable():
        detail = "What was not confirmed may not be stored; repeat the request in a moment."
        answer = problem_response(request, 503, "unavailable", _TITLES[503], detail)
        answer["Retry-After"] = "5"
        return answer
    return problem_response(request, 500, "server-error", _TITLES[500], "The fault is logged under the request id.")
