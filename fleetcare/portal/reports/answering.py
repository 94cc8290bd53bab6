"""A report as an answer to a request."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.text import get_valid_filename, slugify

from fleetcare.portal.reports.condition import Report

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle


def address_of(request: Any, vehicle: "Vehicle") -> str:
    """Where members find the vehicle."""
    page: str = request.build_absolute_uri(reverse("vehicle", args=[vehicle.fleet_id, vehicle.pk]))
    return page


def pdf_response(report: Report, paper: str, address: str) -> HttpResponse:
    """The PDF, named after the vehicle and the day, to be looked at or saved."""
    # Imported where it is needed: a web process that sets no report does not load what sets them.
    from fleetcare.portal.reports.pdf import condition_pdf

    answer = HttpResponse(condition_pdf(report, paper=paper, address=address), content_type="application/pdf")
    name = get_valid_filename(f"{slugify(report.vehicle.name) or 'vehicle'}-{report.made_on.iso}.pdf")
    answer["Content-Disposition"] = content_disposition_header(as_attachment=False, filename=name) or "inline"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
