"""Middleware: a request id, limits to requests and bodies, and answers that no shared cache keeps."""

import re
from collections.abc import Callable
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.cache import add_never_cache_headers
from django.utils.module_loading import import_string

from fleetcare.support.problems import problem_response
from fleetcare.support.throttling import TooMany, client_address, counted, policy_of, refusal_headers

Next = Callable[[HttpRequest], HttpResponse]
_COUNT = re.compile("[0-9]{1,15}")
_SOUND_ID = re.compile(r"[\w.-]{8,64}")


class RequestIdMiddleware:
    """Gives each request an id, taken over from the caller where it is harmless, and answers with it."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        request.request_id = given if _SOUND_ID.fullmatch(given) else uuid4().hex  # type: ignore[attr-defined]
        response = self.get_response(request)
        response["X-Request-ID"] = request.request_id  # type: ignore[attr-defined]
        return response


class AddressLimitMiddleware:
    """Counts what comes from one address, before anything is looked up for it: strangers have no key to count by."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            counted(policy_of("address"), client_address(request))
        except TooMany as error:
            refused = self._refused(request, error)
            for name, value in refusal_headers(error).items():
                refused[name] = value
            return refused
        return self.get_response(request)

    def _refused(self, request: HttpRequest, error: TooMany) -> HttpResponse:
        if request.path.startswith("/api/"):
            return problem_response(request, error.status, error.code, error.title, error.detail)
        page: HttpResponse = import_string(settings.TOO_MANY_VIEW)(request)
        return page


def _body_limit(path: str) -> int:
    """The most bytes taken at an address."""
    for pattern, limit in settings.LARGER_BODIES:
        if re.match(pattern, path):
            return limit
    usual: int = settings.BODY_LIMIT_BYTES
    return usual


class BodyLimitMiddleware:
    """Refuses a body over the limit before reading a byte of it."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.headers.get("Content-Length") or "0"
        limit = _body_limit(request.path)
        if not _COUNT.fullmatch(length) or int(length) > limit:
            return problem_response(
                request, 413, "too-large", "The body is too large", f"At most {limit} bytes are taken at once."
            )
        return self.get_response(request)


class PrivateByDefaultMiddleware:
    """Marks what a signed-in reader or a key sees as private and not to be stored (RFC 9111)."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not response.has_header("Cache-Control"):
            add_never_cache_headers(response)
        return response
