"""The page of the record's way out and in: exports, restores, and tables from elsewhere."""

import uuid
from collections.abc import Callable, Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import DomainError, InvalidInput
from fleetcare.portal.exchange import archive, jobs, tables, values
from fleetcare.portal.exchange.kinds import kinds
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.exchange import import_shown, job_shown
from fleetcare.portal.web.presenters.exchange import tables as table_choices
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.words import ExchangeKind

MOST_LISTED = 10


@require_safe
@fleet_page
def exchange(request: HttpRequest, access: Access) -> HttpResponse:
    """What can be taken out and brought in, and what is at work."""
    return _page(request, access, "")


def _page(request: HttpRequest, access: Access, fault: str) -> HttpResponse:
    access.require(Role.PLANNER)
    figures, owner = Figures.of(access.fleet), access.role.includes(Role.OWNER)

    def listed(kind: ExchangeKind) -> list[Any]:
        return [job_shown(figures, job) for job in jobs.jobs_of(access, kind)[:MOST_LISTED]]

    context = {
        "fleet": access.fleet,
        "owner": owner,
        "exports": listed(ExchangeKind.EXPORT) if owner else (),
        "restores": listed(ExchangeKind.RESTORE) if owner else (),
        "imports": listed(ExchangeKind.IMPORT),
        "tables": table_choices(),
        "empty": owner and jobs.is_empty(access),
        "fault": fault,
    }
    return render(request, "portal/exchange/index.html", context, status=422 if fault else 200)


def _asked(request: HttpRequest, access: Access, ask: Callable[[], Any]) -> HttpResponse | None:
    """None where a job was asked for; else the page with the reason why not."""
    try:
        ask()
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        faults = " ".join(words.told(fault.detail) for fault in error.faults)
        return _page(request, access, faults or words.told(error.detail))
    return None


@require_POST
@fleet_page
def export(request: HttpRequest, access: Access) -> HttpResponse:
    """Asks for a complete export."""
    refused = _asked(request, access, lambda: jobs.ask_for_export(access))
    return refused or redirect("exchange", fleet_id=access.fleet.pk)


@require_POST
@fleet_page
def restore(request: HttpRequest, access: Access) -> HttpResponse:
    """Restores an export into this fleet while it is empty."""
    refused = _asked(request, access, lambda: jobs.ask_for_restore(access, _sent(request, archive.MOST_BYTES)))
    return refused or redirect("exchange", fleet_id=access.fleet.pk)


@require_POST
@fleet_page
def bring(request: HttpRequest, access: Access) -> HttpResponse:
    """Has a table checked."""
    found: list[Any] = []

    def ask() -> None:
        what = request.POST.get("what", "")
        if what not in kinds():
            raise InvalidInput.at("/what", "choice", "Say what the table is about.")
        found.append(jobs.ask_for_import(access, _sent(request, tables.MOST_BYTES), what=what))

    refused = _asked(request, access, ask)
    return refused or redirect("exchange-import", fleet_id=access.fleet.pk, import_id=found[0].pk)


def _sent(request: HttpRequest, most: int) -> Iterator[bytes]:
    upload = request.FILES.get("file")
    if upload is None:
        raise InvalidInput.at("/file", "required", "Choose a file.")
    if (upload.size or 0) > most:
        raise InvalidInput.at("/file", "too-large", f"At most {most // 1024**2} MB are taken.")
    pieces: Iterator[bytes] = upload.chunks()
    return pieces


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def one_import(request: HttpRequest, access: Access, import_id: uuid.UUID) -> HttpResponse:
    """A checked table: which column says what, what is to be answered, what is wrong, and the word to store it."""
    job = jobs.jobs_of(access, ExchangeKind.IMPORT).one(pk=import_id)
    fault = ""
    if request.method == "POST":
        try:
            _change(request, access, job)
        except DomainError as error:
            if error.status in {403, 404}:
                raise
            fault = words.told(error.detail)
        else:
            return redirect("exchange-import", fleet_id=access.fleet.pk, import_id=import_id)
    context = {
        "fleet": access.fleet,
        "table": import_shown(Figures.of(access.fleet), job),
        "units": [(unit, unit == access.fleet.distance_unit) for unit in ("km", "mi")],
        "fault": fault,
    }
    return render(request, "portal/exchange/import.html", context, status=422 if fault else 200)


def _change(request: HttpRequest, access: Access, job: Any) -> None:
    given = request.POST
    if given.get("act") == "store":
        jobs.store_import(access, job, skip_bad_rows=given.get("skip_bad_rows") == "yes")
        return
    fields = {field.name for field in kinds()[job.options["what"]].fields}
    mapping = {name: given[f"field-{name}"][:200] for name in fields if given.get(f"field-{name}")}
    answers = {
        name: given[name]
        for name, known in (
            ("decimal", values.DECIMALS),
            ("day_order", values.DAY_ORDERS),
            ("distance_unit", ("km", "mi")),
        )
        if given.get(name) in known
    }
    jobs.change_import(access, job, {"mapping": mapping, **answers})
