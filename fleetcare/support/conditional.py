"""Validators (RFC 9110): what the API answers is told apart by its bytes, and not sent again where it is known."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.http import parse_etags

_KEPT_HEADERS = ("ETag", "Cache-Control", "Expires", "Vary", "Link")
_DIGEST_CHARACTERS = 32


class ValidatorMiddleware:
    """Gives every JSON answer to a reading a strong ETag, and 304 to a reader who has it.

    A versioned object's tag begins with its version: that is what If-Match is held against. What is computed of it
    moves without a new version, so the digest of the body follows.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        reads = request.method in {"GET", "HEAD"} and response.status_code == 200
        is_json = response.get("Content-Type", "") == "application/json" and not response.streaming
        if not (request.path.startswith("/api/v1/") and is_json and (reads or response.has_header("ETag"))):
            return response
        digest = hashlib.sha256(response.content).hexdigest()[:_DIGEST_CHARACTERS]
        version = response.get("ETag", "").strip('"')
        response["ETag"] = f'"{version}-{digest}"' if version else f'"{digest}"'
        if reads and _is_known(request.headers.get("If-None-Match"), response["ETag"]):
            return _unchanged(response)
        return response


def _is_known(header: str | None, tag: str) -> bool:
    # Compared weakly, as RFC 9110 asks of If-None-Match: a cache on the way may have weakened the tag.
    return header is not None and (
        header.strip() == "*" or tag in {each.removeprefix("W/") for each in parse_etags(header)}
    )


def _unchanged(response: HttpResponse) -> HttpResponse:
    kept = {name: response[name] for name in response.headers if name in _KEPT_HEADERS or name.startswith("RateLimit")}
    return HttpResponse(status=304, headers=kept)
