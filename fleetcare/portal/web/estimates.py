"""The private page of an estimate: read and answered without a login, by whoever holds the link."""

import uuid
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from fleetcare.kernel.errors import Conflict, InvalidInput, NotFound
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.estimates import DECLINE, LATER, estimate_shown, field_of
from scheduling.services.estimates import answer_estimate, estimate_behind

if TYPE_CHECKING:
    from scheduling.models import Estimate

_NAME_LONGEST, _REASON_LONGEST = 120, 500


# The secret in the address is the only right there is, and the page looks at no session: a forged form would have to
# know it, and who knows it may answer. So a check by cookie would protect nothing, and would turn away customers
# whose mail reader keeps no cookies.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def estimate(request: HttpRequest, token: str) -> HttpResponse:
    """Shows an estimate, and takes answers; reading changes nothing. Unknown, expired and revoked are the same 404."""
    try:
        if request.method == "POST":
            return _discreet(_answer(request, token))
        return _discreet(_page(request, token))
    except NotFound as error:
        raise Http404 from error


def _page(request: HttpRequest, token: str, status: int = 200, **more: Any) -> HttpResponse:
    access, found = estimate_behind(token)
    said = more.get("said")
    context = {"estimate": estimate_shown(access.fleet, found, said), "here": request.path, **more}
    return render(request, "portal/estimate/page.html", context, status=status)


def _answer(request: HttpRequest, token: str) -> HttpResponse:
    """Stores what was said and shows the paper anew (POST, redirect, GET: reloading sends nothing twice)."""
    _, found = estimate_behind(token)
    said = {key: str(value)[:_REASON_LONGEST].replace("\0", "") for key, value in request.POST.items()}
    name = said.get("name", "")[:_NAME_LONGEST]
    try:
        answer_estimate(token, name=name, choices=_choices(found, said), reason=said.get("reason", ""))
    except InvalidInput as error:
        faults = {fault.pointer.strip("/").partition("/")[0]: words.told(fault.detail) for fault in error.faults}
        return _page(request, token, 422, said=said, faults=faults)
    except Conflict as error:
        return _page(request, token, 409, said=said, faults={"lines": words.told(error.detail)})
    answer = HttpResponseRedirect(f"{request.path}#answers")
    answer.status_code = 303
    return answer


def _choices(found: "Estimate", said: Mapping[str, str]) -> dict[uuid.UUID, uuid.UUID | None]:
    """What the form says of each line; those left for later are left out.

    Raises InvalidInput for a value that the form does not offer.
    """
    choices: dict[uuid.UUID, uuid.UUID | None] = {}
    for line in found.lines.all():
        value = said.get(field_of(line), LATER)
        if value == DECLINE:
            choices[line.pk] = None
        elif value != LATER:
            try:
                choices[line.pk] = uuid.UUID(value)
            except ValueError as error:
                raise InvalidInput.at("/lines", "unknown-option", "There is no such choice.") from error
    return choices


def _discreet(answer: HttpResponse) -> HttpResponse:
    """No search engine, no cache and no other site learns of the address."""
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    answer["Cache-Control"] = "private, no-store"
    return answer
