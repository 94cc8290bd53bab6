"""The last resorts: a problem document under /api/, a page elsewhere."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleetcare.support import problems


def _page(request: HttpRequest, status: int) -> HttpResponse:
    """A page that asks the database nothing, since that may be what failed."""
    context = {"status": status, "request_id": getattr(request, "request_id", "")}
    return render(request, "portal/error.html", context, status=status)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """There is nothing here, or it is not yours."""
    if request.path.startswith("/api/"):
        return problems.not_found(request, exception)
    return _page(request, 404)


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours."""
    if request.path.startswith("/api/"):
        return problems.server_error(request)
    return _page(request, 503 if problems.is_unavailable() else 500)


def too_many(request: HttpRequest) -> HttpResponse:
    """More requests from one address than a person makes."""
    return _page(request, 429)


def forged(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that was not sent from our page, or from one left open too long (CSRF)."""
    return _page(request, 403)
