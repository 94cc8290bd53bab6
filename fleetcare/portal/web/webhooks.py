"""Other systems that are told what happens: made, tried, switched off, and what was sent to each."""

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import EventKind, Role
from fleetcare.portal.web.entries import EntryForm, checked, done, id_of, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.webhooks import EVENTS, deliveries_shown, endpoints_shown
from scheduling import selectors
from scheduling.api import sending_inputs as inputs
from scheduling.services import webhooks as services

DELIVERIES_SHOWN = 100


class WebhookForm(EntryForm):
    url = text(
        _("Address (https)"), kind="url", maxlength=500, required=True, autocomplete="off", placeholder="https://"
    )
    description = text(_("What it is for"), maxlength=120)
    kinds = forms.MultipleChoiceField(
        label=_("Tell it of (nothing ticked: everything)"),
        choices=[pair for pair in EVENTS if pair[0] != EventKind.TEST],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        return {name: self.cleaned_data[name] for name in ("url", "description", "kinds")}


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def webhooks(request: HttpRequest, access: Access) -> HttpResponse:
    """The endpoints there are; POST adds one, whose secret this answer shows and none after it."""
    access.require(Role.OWNER)
    form = WebhookForm(request.POST if request.method == "POST" else None)
    made: list[str] = []
    if request.method == "POST" and form.is_valid() and done(form, lambda: made.append(_add(access, form))):
        form = WebhookForm()
    rows = selectors.webhook_endpoints(access).order_by("created_at", "id")
    context = {"fleet": access.fleet, "endpoints": endpoints_shown(rows), "form": form, "made": "".join(made)}
    return render(request, "portal/settings/webhooks.html", context, status=422 if form.errors else 200)


def _add(access: Access, form: WebhookForm) -> str:
    return services.add_endpoint(access, **checked(inputs.WebhookIn, form.body(), access))[1]


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def webhook(request: HttpRequest, access: Access, webhook_id: uuid.UUID) -> HttpResponse:
    """One endpoint: what was sent to it, and what can be done about it."""
    access.require(Role.OWNER)
    endpoint = selectors.webhook_endpoints(access).one(pk=webhook_id)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    said = {name: getattr(endpoint, name) for name in ("url", "description", "kinds")}
    form = WebhookForm(request.POST if act == "change" else None, initial=said)
    secret = ""
    if act == "rotate":
        secret = services.rotate_secret(access, endpoint)
    elif act == "change":
        if form.is_valid() and done(form, lambda: _change(access, endpoint, form)):
            messages.success(request, gettext("Kept."))
            return redirect("webhook", access.fleet.pk, endpoint.pk)
    elif act:
        return _acted(request, access, endpoint, act)
    zone = ZoneInfo(access.fleet.time_zone)
    rows = selectors.webhook_deliveries(endpoint).order_by("-made_at", "-id")[:DELIVERIES_SHOWN]
    context = {
        "fleet": access.fleet,
        "endpoint": endpoints_shown([endpoint])[0],
        "deliveries": deliveries_shown(Figures.of(access.fleet), zone, rows),
        "form": form,
        "secret": secret,
    }
    return render(request, "portal/settings/webhook.html", context, status=422 if form.errors else 200)


def _change(access: Access, endpoint: Any, form: WebhookForm) -> None:
    services.change_endpoint(access, endpoint, **checked(inputs.WebhookIn, form.body(), access))


def _acted(request: HttpRequest, access: Access, endpoint: Any, act: str) -> HttpResponse:
    """Takes one of the steps that need no form."""
    if act == "drop":
        services.drop_endpoint(access, endpoint)
        messages.success(request, gettext("It is told nothing any more."))
        return redirect("webhooks", access.fleet.pk)
    if act in {"on", "off"}:
        services.change_endpoint(access, endpoint, disabled=act == "off")
        told = gettext("Switched off.") if act == "off" else gettext("Switched on; what waited is sent.")
    elif act == "test":
        services.try_endpoint(access, endpoint)
        told = gettext("A test is on its way; the answer stands below in a moment.")
    elif act == "replay":
        key = id_of(request.POST.get("delivery", ""))
        services.replay(access, selectors.webhook_deliveries(endpoint).one(pk=key))
        told = gettext("It is sent once more.")
    else:
        raise Http404
    messages.success(request, told)
    return redirect("webhook", access.fleet.pk, endpoint.pk)
