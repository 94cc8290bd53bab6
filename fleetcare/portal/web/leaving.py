"""Having one's account or fleet erased, and stopping that: by its page, or by the link of the mail."""

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import Access, signed_in_person
from fleetcare.fleet.services import leaving as services
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, NotFound
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words

_PAGE = "portal/leaving/page.html"


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@reauthentication_required(allow_get=True)  # type: ignore[untyped-decorator]  # the library has no types
def account(request: HttpRequest) -> HttpResponse:
    """What erasing the account takes with it; POST asks for it, or stops it."""
    user = signed_in_person(request.user)
    faults = []
    if request.method == "POST":
        try:
            if "keep" in request.POST:
                services.keep_account(user)
                messages.success(request, gettext("The account stays."))
                return redirect("account")
            if request.POST.get("name", "").strip().lower() == user.email.lower():
                services.leave_account(user)
                return redirect("account-leave")
            faults.append(gettext("That is not your address."))
        except Conflict as error:
            faults.append(words.told(error.detail))
    context = {
        "leaving": getattr(user, "leaving", None),
        "lonely": services.lonely_fleets(user),
        "needed": services.sole_owned(user),
        "said": user.email,
        "faults": faults,
    }
    return render(request, _PAGE, context, status=422 if faults else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
@reauthentication_required(allow_get=True)  # type: ignore[untyped-decorator]  # the library has no types
def fleet(request: HttpRequest, access: Access) -> HttpResponse:
    """What erasing the fleet means; POST asks for it, or stops it."""
    access.require(Role.OWNER)
    faults = []
    if request.method == "POST":
        if "keep" in request.POST:
            services.keep_fleet(access)
            messages.success(request, gettext("The fleet stays."))
            return redirect("fleet-settings", access.fleet.pk)
        if request.POST.get("name", "").strip() == access.fleet.name:
            services.leave_fleet(access)
            return redirect("fleet-leave", access.fleet.pk)
        faults.append(gettext("That is not the fleet's name."))
    context = {
        "fleet": access.fleet,
        "leaving": services.leaving_of(access),
        "said": access.fleet.name,
        "faults": faults,
    }
    return render(request, _PAGE, context, status=422 if faults else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def stay(request: HttpRequest, token: str) -> HttpResponse:
    """The link of the mail: shows what it stops, and stops it only when asked to (readers of mail follow links)."""
    try:
        found = services.find_leaving(token)
        if request.method == "POST":
            services.stay(token)
    except NotFound as error:
        raise Http404 from error
    context = {"of": getattr(found, "fleet", None), "on": found.erase_after, "done": request.method == "POST"}
    answer = render(request, "portal/leaving/stay.html", context)
    answer["Referrer-Policy"] = "no-referrer"
    return answer
