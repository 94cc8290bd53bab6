"""A draft with everything its pages show: a fixed number of queries."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse

from fleetcare.fleet.access import Access
from fleetcare.fleet.selectors import memberships, vehicle_of
from fleetcare.kernel.ids import new_id
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.checks import Context
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.know_how import by_check
from inspections import selectors
from inspections.catalogue.walk import Walk, walk
from inspections.services.entries import overruled
from scheduling.selectors import know_how
from scheduling.services.know_how import model_key_of

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from inspections.models import Inspection

Place = tuple[str, str]

LAYOUTS = ("one", "list")
LAYOUT_COOKIE, DEVICE_COOKIE = "walk-layout", "device"
KEPT_SECONDS = 2 * 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Draft:
    """A walk in work."""

    vehicle: "Vehicle"
    inspection: "Inspection"
    route: Walk
    results: Mapping[Place, Any]

    @property
    def done(self) -> bool:
        """Whether it was completed meanwhile, and its pages lead to the inspection."""
        return self.inspection.completed_at is not None


def draft_of(access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Draft:
    """Vehicle, inspection and results: three queries. Raises NotFound."""
    vehicle = vehicle_of(access, vehicle_id)
    inspection = selectors.inspections_with_results(vehicle).one(pk=inspection_id)
    inspection.vehicle = vehicle
    results = {(row.check_key, row.position): row for row in inspection.results.all()}
    for row in results.values():
        row.inspection = inspection
    route = walk(words.catalogue(), vehicle.traits, inspection.sheet, access.fleet.limit_scheme)
    return Draft(vehicle, inspection, route, results)


def context_of(access: Access, draft: Draft) -> Context:
    """What the checks are shown with: names, journal, photos, last time's results, know-how: five queries."""
    keys = {check.check for station in draft.route.stations for check in station.checks}
    people = {f"user:{row.user_id}": str(row.user) for row in memberships(access)}
    journal = selectors.journal(draft.inspection)
    photos: dict[Place, list[Any]] = {}
    for photo in selectors.photos(draft.vehicle).filter(inspection=draft.inspection):
        photos.setdefault((photo.check_key, photo.position), []).append(photo)
    figures, model = Figures.of(access.fleet), model_key_of(draft.vehicle)
    notes = know_how(access, [model] if model else []).order_by("created_at", "id")
    return Context(
        figures=figures,
        scheme=access.fleet.limit_scheme,
        results=draft.results,
        last=selectors.last_results(draft.inspection, keys),
        overruled=overruled(journal, draft.results.values()),
        people=people,
        photos=photos,
        know_how=by_check(figures, notes, keys),
    )


def layout_of(request: HttpRequest) -> str:
    """One check a screen, or the dense list: as chosen on this device."""
    asked = request.GET.get("layout") or request.COOKIES.get(LAYOUT_COOKIE, "")
    return asked if asked in LAYOUTS else LAYOUTS[0]


def device_of(request: HttpRequest) -> str:
    """An id of this device, which tells two phones of one person apart."""
    try:
        return str(uuid.UUID(request.COOKIES.get(DEVICE_COOKIE, "")))
    except ValueError:
        return str(new_id())


def remembering(request: HttpRequest, response: HttpResponse, device: str) -> HttpResponse:
    """The answer, with the device's id and its layout kept on the device."""
    kept: dict[str, Any] = {"max_age": KEPT_SECONDS, "samesite": "Lax", "secure": request.is_secure()}
    if request.COOKIES.get(DEVICE_COOKIE) != device:
        response.set_cookie(DEVICE_COOKIE, device, httponly=True, **kept)
    if request.GET.get("layout") in LAYOUTS:
        response.set_cookie(LAYOUT_COOKIE, request.GET["layout"], **kept)
    return response
