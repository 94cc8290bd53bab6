"""The condition report as a page: for members, and for whoever holds a private link."""

import uuid
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import DomainError, NotFound
from fleetcare.portal.reports import links
from fleetcare.portal.reports.answering import address_of, pdf_response
from fleetcare.portal.reports.condition import condition_report, photo_in_report
from fleetcare.portal.reports.papers import PAPERS, USUAL
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.links import links_shown
from inspections.api.photos import picture_response

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

MOST_LISTED = 20


@require_safe
@fleet_page
def report(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """The report for members, with the private links to it for those who may give them out."""
    return _member_page(request, access, fleet_selectors.vehicle_of(access, vehicle_id))


def _member_page(
    request: HttpRequest, access: Access, vehicle: "Vehicle", *, status: int = 200, **more: Any
) -> HttpResponse:
    figures = Figures.of(access.fleet)
    may_share = access.role.includes(Role.PLANNER)
    rows = links.links_of(access, vehicle)[:MOST_LISTED] if may_share else ()
    context = {
        "fleet": access.fleet,
        "report": condition_report(access, vehicle),
        "vehicle_id": vehicle.pk,
        "photos": f"/api/v1/fleets/{access.fleet.pk}/vehicles/{vehicle.pk}/photos/",
        "pdf": f"/api/v1/fleets/{access.fleet.pk}/vehicles/{vehicle.pk}/report.pdf",
        "may_share": may_share,
        "links": links_shown(figures, access.fleet.time_zone, rows, timezone.now()),
        "days": links.USUAL_DAYS,
        "longest_days": links.LONGEST_DAYS,
        **more,
    }
    return render(request, "portal/report/member.html", context, status=status)


@require_POST
@fleet_page
def share(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """A fresh private link, shown this once."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    days, note = request.POST.get("days", "").strip(), request.POST.get("note", "").strip()
    given = {"days": days, "note": note}
    try:
        number = int(days) if days.isascii() and days.isdigit() and len(days) < 6 else 0
        _, token = links.share_report(access, vehicle, days=number, note=note[:120])
    except DomainError as error:
        if error.status == 403:
            raise
        return _member_page(request, access, vehicle, status=422, fault=words.told(error.detail), **given)
    return _member_page(request, access, vehicle, fresh_url=links.url_of(request, token))


@require_POST
@fleet_page
def revoke(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, link_id: uuid.UUID) -> HttpResponse:
    """Ends a private link."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    links.revoke_link(access, links.links_of(access, vehicle).one(pk=link_id))
    return redirect("report", fleet_id=access.fleet.pk, vehicle_id=vehicle.pk)


def _opened(token: str) -> "tuple[Access, Vehicle]":
    """What a private link opens; what was never given out, has ended or was revoked is the same 404."""
    try:
        return links.find_shared_link(token)
    except NotFound as error:
        raise Http404 from error


def _discreet(answer: HttpResponse) -> HttpResponse:
    """Keeps the secret of the address from other sites and from search engines."""
    answer["Referrer-Policy"] = "no-referrer"
    answer["X-Robots-Tag"] = "noindex, nofollow"
    return answer


@require_safe
def shared(request: HttpRequest, token: str) -> HttpResponse:
    """The report for whoever holds the link."""
    access, vehicle = _opened(token)
    here = links.path_of(token)
    context = {
        "report": condition_report(access, vehicle),
        "photos": f"{here}photos/",
        "pdf": f"{here}report.pdf",
    }
    return _discreet(render(request, "portal/report/shared.html", context))


@require_safe
def shared_pdf(request: HttpRequest, token: str) -> HttpResponse:
    """The same as a PDF."""
    access, vehicle = _opened(token)
    paper = request.GET.get("paper", USUAL)
    if paper not in PAPERS:
        raise Http404
    return _discreet(pdf_response(condition_report(access, vehicle), paper, address_of(request, vehicle)))


@require_safe
def shared_photo(request: HttpRequest, token: str, photo_id: uuid.UUID, size: str) -> HttpResponse:
    """A photo that the report shows, and no other of the vehicle."""
    access, vehicle = _opened(token)
    try:
        photo = photo_in_report(access, vehicle, photo_id)
    except NotFound as error:
        raise Http404 from error
    small = size == "thumbnail"
    name = photo.thumbnail if small else photo.picture
    etag = f'"{photo.sha256[:31]}t"' if small else f'"{photo.sha256[:32]}"'
    return _discreet(picture_response(request, name, etag, f"photo-{photo.pk}.jpg"))
