"""The last resorts: a problem document under /api/, a page elsewhere."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleetcare.support import problems


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """There is nothing here, or it is not yours."""
    if request.path.startswith("/api/"):
        return problems.not_found(request, exception)
    return render(request, "portal/error.html", {"status": 404}, status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours."""
    if request.path.startswith("/api/"):
        return problems.server_error(request)
    return render(request, "portal/error.html", {"status": 500}, status=500)
