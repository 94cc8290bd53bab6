"""What every page under a fleet shares: members only, and plain words for who may not."""

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleetcare.fleet.access import Access, fleet_access
from fleetcare.kernel.errors import DomainError, Forbidden, NotFound
from fleetcare.portal.web.presenters import words

_Arguments = ParamSpec("_Arguments")


def fleet_page(page: Callable[Concatenate[HttpRequest, Access, _Arguments], HttpResponse]) -> Any:
    """A page under `fleets/<fleet>/` for members; what is not there and what is not theirs are the same 404."""

    @login_required
    @wraps(page)
    def wrapped(
        request: HttpRequest, fleet_id: uuid.UUID, *args: _Arguments.args, **kwargs: _Arguments.kwargs
    ) -> HttpResponse:
        try:
            return page(request, fleet_access(None, request.user, fleet_id), *args, **kwargs)
        except NotFound as error:
            raise Http404 from error
        except Forbidden as error:
            return render(request, "portal/forbidden.html", {"detail": words.told(error.detail)}, status=403)
        except DomainError as error:
            # A form that its page would have answered with its faults; here it came from elsewhere.
            told = [words.told(fault.detail) for fault in error.faults] or [words.told(error.detail)]
            return render(request, "portal/refused.html", {"faults": told}, status=error.status)

    return wrapped
