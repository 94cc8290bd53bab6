"""Opening an invitation: joining with an account, or making one."""

from allauth.account.internal.flows.login import record_authentication
from allauth.account.utils import perform_login
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import signed_in_person
from fleetcare.fleet.services.invitations import accept_as_new, accept_invitation, find_invitation, has_account
from fleetcare.kernel.errors import Forbidden, NotFound
from fleetcare.portal.web.entries import EntryForm, done, text
from fleetcare.portal.web.presenters.roles import role_told


class JoinForm(EntryForm):
    name = text(_("Your name"), maxlength=120, autocomplete="name")
    password = forms.CharField(
        label=_("A password, 8 characters or more"),
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password", "required": True}),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Shows who asks; POST joins. Unknown, revoked and run out look the same."""
    try:
        found = find_invitation(token)
        signed_in = request.user.is_authenticated
        if signed_in and request.method == "POST":
            return _join(request, token)
        known = has_account(found)
        if found.accepted_at is not None and not signed_in and not known:
            return _gone(request)
        form = JoinForm(request.POST if request.method == "POST" else None)
        if request.method == "POST" and not known and form.is_valid():
            answer = _join_as_new(request, token, form)
            if answer is not None:
                return answer
    except NotFound:
        return _gone(request)
    except Forbidden:
        return redirect("invitation", token)
    context = {
        "invitation": found,
        "role": role_told(found.role),
        "form": form,
        "known": known,
        "signed_in": signed_in,
        "other": signed_in and signed_in_person(request.user).email.lower() != found.email.lower(),
    }
    # The site's policy (same-origin) keeps the secret in the address from other sites. The stricter no-referrer would
    # make browsers send the form with the origin "null", which the check against forged forms refuses.
    return render(request, "portal/invitation/open.html", context, status=422 if form.errors else 200)


def _gone(request: HttpRequest) -> HttpResponse:
    return render(request, "portal/invitation/gone.html", status=404)


def _joined(request: HttpRequest, name: str) -> None:
    messages.success(request, gettext("Welcome to %(fleet)s.") % {"fleet": name})


def _join(request: HttpRequest, token: str) -> HttpResponse:
    membership = accept_invitation(signed_in_person(request.user), token)
    _joined(request, membership.fleet.name)
    return redirect("fleet", membership.fleet_id)


def _join_as_new(request: HttpRequest, token: str, form: JoinForm) -> HttpResponse | None:
    fleet = find_invitation(token).fleet
    said = form.cleaned_data

    def act() -> None:
        user = accept_as_new(token, name=said["name"], password=said["password"])
        perform_login(request, user)
        record_authentication(request, user, method="password")

    if not done(form, act):
        return None
    _joined(request, fleet.name)
    return redirect("fleet", fleet.pk)
