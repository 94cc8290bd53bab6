"""Who belongs to a fleet, and who was invited."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.api import inputs
from fleetcare.fleet.services.fleets import change_member, remove_member
from fleetcare.fleet.services.invitations import invite, revoke_invitation
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, id_of, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.roles import role_choices, role_told, roles_told

MOST_SHOWN = 200


class InviteForm(EntryForm):
    email = text(_("E-mail address"), kind="email", autocomplete="off", autocapitalize="none", required=True)
    role = choice(_("Role"), role_choices)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def members(request: HttpRequest, access: Access) -> HttpResponse:
    """Members with their roles, and for owners the invitations that are open."""
    act = request.POST.get("act", "") if request.method == "POST" else ""
    form = InviteForm(request.POST if act == "invite" else None, initial={"role": Role.VIEWER.value})
    entry = form if act == "invite" else EntryForm({})
    if request.method == "POST":
        if act not in _ACTS:
            raise Http404
        if entry.is_valid() and done(entry, lambda: _ACTS[act](access, request.POST)):
            messages.success(request, _TOLD[act])
            return _onward(request, access)
    return _page(request, access, form, entry)


def _onward(request: HttpRequest, access: Access) -> HttpResponse:
    """Back to the list; whoever left it goes home."""
    still = selectors.memberships(access).filter(user=request.user.pk).exists()
    return redirect("members", access.fleet.pk) if still else redirect("home")


def _invite(access: Access, form: Any) -> None:
    values = checked(inputs.InvitationNew, {"email": form.get("email", ""), "role": form.get("role", "")}, access)
    invite(access, email=values["email"], role=Role(values["role"]))


def _revoke(access: Access, form: Any) -> None:
    revoke_invitation(access, selectors.invitations(access).one(pk=id_of(form.get("invitation", ""))))


def _member(access: Access, form: Any) -> Any:
    return selectors.memberships(access).one(pk=id_of(form.get("member", "")))


def _role(access: Access, form: Any) -> None:
    values = checked(inputs.MemberChange, {"role": form.get("role", "")}, access)
    change_member(access, _member(access, form), role=Role(values["role"]))


def _remove(access: Access, form: Any) -> None:
    remove_member(access, _member(access, form))


_ACTS = {"invite": _invite, "revoke": _revoke, "role": _role, "remove": _remove}
_TOLD = {
    "invite": _("The invitation is on its way."),
    "revoke": _("The invitation no longer works."),
    "role": _("The role is changed."),
    "remove": _("The member is removed."),
}


def _page(request: HttpRequest, access: Access, form: InviteForm, entry: EntryForm) -> HttpResponse:
    rows = selectors.memberships(access).order_by("created_at", "id")[:MOST_SHOWN]
    owner = access.role.includes(Role.OWNER)
    open_ones = selectors.invitations(access).filter(accepted_at=None, revoked_at=None, expires_at__gt=timezone.now())
    context = {
        "fleet": access.fleet,
        "members": [_member_shown(row, access) for row in rows],
        "invitations": [(row, role_told(row.role)) for row in open_ones.order_by("-created_at")] if owner else [],
        "roles": roles_told(),
        "owner": owner,
        "form": form,
        "faults": [] if entry is form else list(entry.non_field_errors()),
    }
    return render(request, "portal/settings/members.html", context, status=422 if entry.errors else 200)


def _member_shown(row: Any, access: Access) -> dict[str, Any]:
    return {
        "id": row.pk,
        "name": row.user.name,
        "email": row.user.email,
        "role": role_told(row.role),
        "self": access.actor == f"user:{row.user_id}",
    }
