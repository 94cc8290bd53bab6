"""Start, overview, station, finish: the pages of a walk, each a plain form."""

import uuid
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_http_methods, require_POST

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.selectors import vehicle_of
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, DomainError, InvalidInput
from fleetcare.kernel.ids import new_id
from fleetcare.kernel.units import from_km
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.portal.web.presenters.walk import (
    open_walk_shown,
    script_words,
    sheets_shown,
    station_shown,
    summary_shown,
    walk_shown,
)
from fleetcare.portal.web.walk.forms import FinishForm, StartForm, as_sent, entry_of, says_nothing
from fleetcare.portal.web.walk.loading import Draft, context_of, device_of, draft_of, layout_of, remembering
from inspections import selectors
from inspections.catalogue.walk import walk
from inspections.services.photos import store_photo
from inspections.services.walking import (
    IDLE_DAYS,
    REFUSED,
    discard_walk,
    finish_walk,
    repeat_last,
    save_entries,
    start_walk,
)

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

QUICKEST_SHEET = "five-minute"


@require_http_methods(["GET", "POST"])
@fleet_page
def start(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Choose a sheet and begin, or go on with a walk that is open."""
    access.require(Role.INSPECTOR)
    vehicle = vehicle_of(access, vehicle_id)
    form = StartForm(access.fleet.distance_unit, request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            inspection, _ = start_walk(
                access,
                vehicle,
                sheet=said["sheet"],
                inspected_on=said["inspected_on"],
                shown_km=said["odometer"],
                inspector=said["inspector"],
                key=said["key"],
                anew=said["anew"],
            )
        except DomainError as error:
            form.refuse(error)
        else:
            return redirect("walk", access.fleet.pk, vehicle.pk, inspection.pk)
    context = _start_context(request, access, vehicle, form)
    return render(request, "portal/walk/start.html", context, status=422 if form.errors else 200)


def _start_context(request: HttpRequest, access: Access, vehicle: "Vehicle", form: StartForm) -> dict[str, Any]:
    figures, catalogue, on = Figures.of(access.fleet), words.catalogue(), today(access.fleet)
    routes = {key: walk(catalogue, vehicle.traits, key, access.fleet.limit_scheme) for key in catalogue.sheets}
    idle_before = (timezone.now() - timedelta(days=IDLE_DAYS)).date()
    drafts = selectors.open_walks(vehicle).order_by("-touched_at")[:10]
    sheet = form.data.get("sheet") or request.GET.get("sheet") or QUICKEST_SHEET
    return {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "form": form,
        "said": form.data or {"inspected_on": on.isoformat(), "inspector": str(request.user), "key": new_id()},
        "today": on.isoformat(),
        "sheets": sheets_shown(figures, routes.values(), sheet),
        "open_walks": [
            open_walk_shown(figures, row, routes[row.sheet], idle_before) for row in drafts if row.sheet in routes
        ],
    }


def _frame(request: HttpRequest, access: Access, draft: Draft, current: str = "") -> dict[str, Any]:
    """What every page of a walk in work is rendered with, the data for its script among it."""
    figures = Figures.of(access.fleet)
    ids = (access.fleet.pk, draft.vehicle.pk, draft.inspection.pk)
    shown = walk_shown(figures, draft.route, draft.inspection, draft.results, current)
    stations = [reverse("walk-station", args=[*ids, line.key]) for line in shown.stations]
    return {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, draft.vehicle, today(access.fleet)),
        "walk": shown,
        "layout": layout_of(request),
        "device": device_of(request),
        "rendered_ms": int(timezone.now().timestamp() * 1000),
        "script_words": script_words(),
        "entries_url": f"/api/v1/fleets/{ids[0]}/vehicles/{ids[1]}/inspections/{ids[2]}/entries/",
        "photos_url": f"/api/v1/fleets/{ids[0]}/vehicles/{ids[1]}/inspections/{ids[2]}/photos/",
        "kept_urls": " ".join([reverse("walk", args=ids), reverse("walk-finish", args=ids), *stations]),
    }


def _shown(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    return remembering(request, render(request, template, context, status=status), context["device"])


def _moved_on(access: Access, draft: Draft) -> HttpResponse:
    """Somebody completed it: there is only the inspection to see."""
    return redirect("inspection", access.fleet.pk, draft.vehicle.pk, draft.inspection.pk)


@require_http_methods(["GET"])
@gzip_page
@fleet_page
def overview(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> HttpResponse:
    """The stations, how far each is, and where to go on."""
    access.require(Role.INSPECTOR)
    draft = draft_of(access, vehicle_id, inspection_id)
    if draft.done:
        return _moved_on(access, draft)
    return _shown(request, "portal/walk/overview.html", _frame(request, access, draft))


@require_http_methods(["GET", "POST"])
@gzip_page
@fleet_page
def station(
    request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID, station_key: str
) -> HttpResponse:
    """One station: its cautions, its checks; POST stores one of them and goes on to the next."""
    access.require(Role.INSPECTOR)
    draft = draft_of(access, vehicle_id, inspection_id)
    if draft.done:
        return _moved_on(access, draft)
    wrong = None
    if request.method == "POST":
        given, faults = entry_of(request.POST)
        faults = faults or _refusals(request, access, draft, given)
        if not faults:
            return redirect(_at(access, draft, station_key, request.POST.get("following", "")))
        wrong = as_sent(request.POST, faults)
    return _station(request, access, draft, station_key, wrong)


def _station(
    request: HttpRequest, access: Access, draft: Draft, station_key: str, wrong: dict[str, Any] | None
) -> HttpResponse:
    try:
        shown = station_shown(context_of(access, draft), draft.route, station_key, wrong)
    except KeyError as error:
        raise Http404 from error
    context = _frame(request, access, draft, station_key) | {"station": shown}
    return _shown(request, "portal/walk/station.html", context, 422 if wrong else 200)


@require_POST
@fleet_page
def photo(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> HttpResponse:
    """Stores a photo of a check and goes back to it."""
    draft = draft_of(access, vehicle_id, inspection_id)
    place = {"check": request.POST.get("check", ""), "position": request.POST.get("position", "")}
    station_key, faults = request.POST.get("station", ""), []
    upload: Any = request.FILES.get("photo")
    if upload is None:
        faults = [gettext("Choose a photo first.")]
    else:
        try:
            store_photo(
                access,
                draft.vehicle,
                upload=upload,
                inspection=draft.inspection,
                check_key=place["check"],
                position=place["position"],
            )
        except InvalidInput as error:
            faults = [words.told(fault.detail) for fault in error.faults]
    if faults:
        return _station(request, access, draft, station_key, {**place, "faults": faults})
    return redirect(_at(access, draft, station_key, request.POST.get("anchor", "")))


def _refusals(request: HttpRequest, access: Access, draft: Draft, given: Any) -> list[str]:
    """Stores one check; what stands in the way."""
    if says_nothing(given):
        return []
    try:
        (outcome,) = save_entries(access, draft.inspection, [{"id": new_id(), **given}], device_of(request))
    except Conflict as error:
        return [words.told(error.detail)]
    return [words.told(outcome.detail)] if outcome.state == REFUSED else []


def _at(access: Access, draft: Draft, station_key: str, anchor: str) -> str:
    """The address of a check; an odd station is its own 404."""
    try:
        here = reverse("walk-station", args=[access.fleet.pk, draft.vehicle.pk, draft.inspection.pk, station_key])
    except NoReverseMatch as error:
        raise Http404 from error
    return f"{here}#{anchor}" if anchor.removeprefix("check-").isdecimal() or anchor == "end" else here


@require_POST
@fleet_page
def repeat(
    request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID, station_key: str
) -> HttpResponse:
    """Says of a whole station what was found last time."""
    draft = draft_of(access, vehicle_id, inspection_id)
    found = next((each for each in draft.route.stations if each.station == station_key), None)
    if found is None:
        raise Http404
    if draft.done:
        return _moved_on(access, draft)
    repeat_last(access, draft.inspection, [(c.check, c.position) for c in found.checks], device_of(request))
    here = reverse("walk-station", args=[access.fleet.pk, draft.vehicle.pk, draft.inspection.pk, station_key])
    return redirect(f"{here}#checks")


@require_http_methods(["GET", "POST"])
@fleet_page
def finish(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> HttpResponse:
    """What completing would say, and completing it; from then on the verdict of the vehicle rests on it."""
    access.require(Role.INSPECTOR)
    draft = draft_of(access, vehicle_id, inspection_id)
    if draft.done:
        return _moved_on(access, draft)
    form = FinishForm(access.fleet.distance_unit, request.POST or None)
    if request.method == "POST" and form.is_valid() and _finished(access, draft, form):
        return redirect("vehicle", access.fleet.pk, draft.vehicle.pk)
    context = _frame(request, access, draft) | {
        "form": form,
        "said": form.data or _as_begun(access, draft),
        "today": today(access.fleet).isoformat(),
        "summary": summary_shown(context_of(access, draft), draft.route),
    }
    return _shown(request, "portal/walk/finish.html", context, 422 if form.errors else 200)


def _as_begun(access: Access, draft: Draft) -> dict[str, str]:
    shown = from_km(draft.inspection.reading.shown_km, access.fleet.distance_unit).normalize()
    return {
        "inspected_on": draft.inspection.inspected_on.isoformat(),
        "odometer": f"{shown:f}",
        "inspector": draft.inspection.inspector,
        "note": draft.inspection.note,
        "trouble_codes": " ".join(draft.inspection.trouble_codes),
    }


def _finished(access: Access, draft: Draft, form: FinishForm) -> bool:
    said = form.cleaned_data
    try:
        finish_walk(
            access,
            draft.inspection,
            inspected_on=said["inspected_on"],
            shown_km=said["odometer"],
            inspector=said["inspector"],
            note=said["note"],
            trouble_codes=said["trouble_codes"],
            because_open=said["because_open"],
        )
    except (InvalidInput, Conflict) as error:
        form.refuse(error)
        return False
    return True


@require_POST
@fleet_page
def discard(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> HttpResponse:
    """Throws a walk away, once its box is ticked."""
    draft = draft_of(access, vehicle_id, inspection_id)
    if draft.done:
        return _moved_on(access, draft)
    if request.POST.get("sure") != "yes":
        return redirect("walk", access.fleet.pk, draft.vehicle.pk, draft.inspection.pk)
    discard_walk(access, draft.inspection)
    return redirect("walk-start", access.fleet.pk, draft.vehicle.pk)
