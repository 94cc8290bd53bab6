"""One's own account: name, language, time zone, and the ways to the rest."""

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from allauth.account.decorators import verified_email_required
from allauth.account.views import email as change_email
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import signed_in_person
from fleetcare.fleet.services.persons import LANGUAGES, change_person, settle_address
from fleetcare.portal.web.entries import EntryForm, choice, done, text


@cache
def zones() -> list[tuple[str, str]]:
    """Every time zone, to choose from; kept, since finding them reads some hundred folders."""
    return [(name, name.replace("_", " ")) for name in sorted(available_timezones())]


class AccountForm(EntryForm):
    name = text(_("Name"), maxlength=120, autocomplete="name")
    language = choice(_("Language"), list(LANGUAGES.items()))
    time_zone = choice(_("Time zone"), zones)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """Shows the account; POST changes name, language and time zone."""
    user = signed_in_person(request.user)
    names = ("name", "language", "time_zone")
    given: dict[str, Any] = {name: getattr(user, name) for name in names}
    form = AccountForm(request.POST if request.method == "POST" else None, initial=given)
    if request.method == "POST" and form.is_valid():
        values = {name: form.cleaned_data[name] for name in names}
        if done(form, lambda: change_person(user, **values)):
            with translation.override(user.language):
                messages.success(request, translation.gettext("Kept."))
            return redirect("account")
    status = 422 if form.errors else 200
    return render(request, "portal/account/account.html", {"form": form, "email": user.email}, status=status)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def email(request: HttpRequest) -> HttpResponse:
    """Another address: it counts once the mail there was answered, and until then the old one does."""
    page = change_email
    if settings.OPEN_SIGN_UP:
        page = verified_email_required(page)
    else:
        settle_address(signed_in_person(request.user))
    answer: HttpResponse = page(request)
    return answer
