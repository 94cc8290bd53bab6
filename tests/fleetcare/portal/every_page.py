"""A household with something on every page, and the addresses of all pages, by the names of their routes."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.urls import get_resolver

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Membership
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.services.fuel import record_fuel
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from fleetcare.portal.exchange.jobs import ask_for_import
from fleetcare.portal.reports.links import share_report
from fleetcare.support.bell import bell_held
from inspections.models import Finding
from inspections.services.walking import start_walk
from scheduling.models import DueItem
from scheduling.services.assess import assess_vehicles
from scheduling.services.due import add_rule
from scheduling.services.estimates.drafting import Draft, LineDraft, OptionDraft, draft_estimate
from scheduling.services.estimates.sending import send_estimate
from scheduling.services.jobs import open_job
from scheduling.services.know_how import add_know_how
from scheduling.services.plans import PlanAsk, VisitAsk, make_plan
from scheduling.services.webhooks import add_endpoint
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result

STATION = "walk-round"
"""The one with the most checks."""
NO_PAGES = frozenset(
    {
        # Answer only to a form, or lead elsewhere.
        "due-act", "job-open", "plan-renew", "plan-forget", "walk-photo", "walk-discard", "walk-repeat",
        "exchange-export", "exchange-restore", "exchange-bring", "report-share", "report-revoke", "estimate-send",
        "invitation", "estimate-end", "sign-out", "account_logout", "stay", "account_login", "mfa_index",
        "mfa_login_webauthn",
        # Files and answers for programs.
        "calendar", "manifest", "worker", "session", "shared-report-pdf", "mfa_download_recovery_codes", "health",
        "livez", "readyz", "security",
        # Asked for in the middle of something: signing in with two steps, a link in a mail, a fresh password.
        "mfa_authenticate", "mfa_reauthenticate", "mfa_reauthenticate_webauthn", "account_reauthenticate",
        "account_reset_password_from_key", "account_confirm_email", "account_set_password", "account_inactive",
        "mfa_remove_webauthn", "mfa_edit_webauthn", "mfa_add_webauthn", "mfa_view_recovery_codes",
        "mfa_generate_recovery_codes", "account_email_verification_sent", "reminders-stop",
    }
)  # fmt: skip
"""Routes that are no pages to be opened by themselves."""
STRANGERS = frozenset(
    {"sign-in", "account_signup", "account_reset_password", "account_reset_password_done", "shared-report", "estimate",
     "account_reset_password_from_key_done", "offline"}
)  # fmt: skip
"""Pages that are read without signing in."""


def furnished(cast: Cast) -> dict[str, str]:
    """Fills the fleet and answers where each page is."""
    with bell_held():
        places = _recorded(cast)
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    return {**places, **_decided(cast, places)}


def _recorded(cast: Cast) -> dict[str, str]:
    access, vehicle, on = cast.access, cast.vehicle, today(cast.fleet)
    torn = result(BOOT, "front-right", grade="major", observations=["torn"], note="Kx9 grease")
    for back, thick in ((200, 5.0), (0, 0.4)):
        pads = result(PADS, "front-left", measurement={"value": thick, "unit": "mm"})
        last = inspect(access, vehicle, torn, pads, inspected_on=on - timedelta(back), shown_km=120_000 - back * 40)
    for back in (150, 120, 90):
        record_fuel(
            access, vehicle, filled_on=on - timedelta(back), shown_km=Decimal(119_900 - back * 40),
            litres=Decimal(40), full=True, price_minor=7000,
        )  # fmt: skip
    reading = record_odometer(access, vehicle, read_on=on - timedelta(1), shown_km=Decimal(119_999))
    rule = add_rule(access, vehicle, template="brake-fluid")
    job, _ = open_job(access, vehicle, job_key="front-brake-pads.replace", positions=["front-left", "front-right"])
    draft, _ = start_walk(access, vehicle, sheet="full", inspected_on=on, shown_km=120_000, inspector="Qz Amsel")
    note = add_know_how(access, vehicle, kind="where", part_key="front-brake-pads", text="Kx9 behind it")
    contact = save_contact(access, None, name="Qz Driver", email="qz@x.example", vehicles=[vehicle.pk])
    create_key(access, name="Kx9", role=Role.VIEWER)
    endpoint, _secret = add_endpoint(access, url="https://hooks.example/kx9", kinds=[])
    table = ask_for_import(access, b"vehicle;day;km\nNobody;2026-01-02;100\n", what="odometer")
    fleet = f"/fleets/{cast.fleet.pk}/"
    car = f"{fleet}vehicles/{vehicle.pk}/"
    walk = f"{car}walks/{draft.pk}/"
    member = Membership.objects.within(cast.fleet).order_by("pk").first()
    return {
        "home": "/", "fleet": fleet, "fleet-new": "/fleets/new/", "fleet-settings": f"{fleet}settings/",
        "contacts": f"{fleet}contacts/", "contact": f"{fleet}contacts/{contact.pk}/", "keys": f"{fleet}keys/",
        "prices": f"{fleet}prices/", "price": f"{fleet}prices/front-brake-pads.replace/",
        "work-terms": f"{fleet}work-terms/", "reminders": f"{fleet}reminders/",
        "reminder-log": f"{fleet}reminders/log/", "reminders-member": f"{fleet}reminders/members/{member.pk}/",
        "reminders-contact": f"{fleet}reminders/contacts/{contact.pk}/", "webhooks": f"{fleet}webhooks/",
        "webhook": f"{fleet}webhooks/{endpoint.pk}/", "vehicle-add": f"{fleet}vehicles/new/",
        "vehicle-change": f"{car}change/", "record": f"{car}record/", "keep": f"{car}keep-or-replace/",
        "members": f"{fleet}members/", "decide": f"{fleet}decide/", "due": f"{fleet}due/", "jobs": f"{fleet}jobs/",
        "history": f"{car}history/", "know-how": f"{car}know-how/", "know-how-note": f"{car}know-how/{note.pk}/",
        "parts": f"{car}parts/", "road": f"{car}road/", "rules": f"{car}rules/", "rule": f"{car}rules/{rule.pk}/",
        "road-reading": f"{car}road/{reading.pk}/", "job": f"{car}jobs/{job.pk}/",
        "kit": f"{car}kit/", "part": f"{car}parts/front-brake-pads/?position=front-left", "vehicle": car,
        "inspection": f"{car}inspections/{last.pk}/", "walk-start": f"{car}walks/", "walk": walk,
        "walk-station": f"{walk}at/{STATION}/", "walk-finish": f"{walk}finish/", "exchange": f"{fleet}exchange/",
        "exchange-import": f"{fleet}imports/{table.pk}/", "report": f"{car}report/", "backlog": f"{car}backlog/",
        "estimates": f"{fleet}estimates/", "audit": f"{fleet}audit/",
        "fleet-leave": f"{fleet}leave/", "account-leave": "/account/leave/",
        "estimate-new": f"{car}estimates/new/", "offline": "/offline/",
        "sign-in": "/sign-in/", "account_signup": "/sign-up/", "account_reset_password": "/password/reset/",
        "account_reset_password_done": "/password/reset/sent/", "account": "/account/",
        "account_reset_password_from_key_done": "/password/changed/", "account_email": "/account/email/",
        "account_change_password": "/account/password/", "mfa_list_webauthn": "/account/passkeys/",
        "usersessions_list": "/account/sessions/",
    }  # fmt: skip


def _decided(cast: Cast, places: dict[str, str]) -> dict[str, str]:
    access, vehicle, on, fleet = cast.access, cast.vehicle, today(cast.fleet), places["fleet"]
    plan = make_plan(access, PlanAsk((), (VisitAsk(on + timedelta(3), 240, 50_000),)), exact=True)
    _link, token = share_report(access, vehicle)
    renew = OptionDraft(job_key="front-brake-pads.replace", positions=("front-left", "front-right"))
    lines = [LineDraft(options=(renew,))]
    kept, sent = (draft_estimate(access, vehicle, Draft(customer="Qz Driver", lines=lines)) for _ in range(2))
    _sent, letter = send_estimate(access, sent)
    assert Finding.objects.within(cast.fleet).exists()
    assert DueItem.objects.within(cast.fleet).exists()
    return {
        "plan": f"{fleet}plans/{plan.pk}/?more=money", "shared-report": f"/r/{token}/", "estimate": f"/e/{letter}/",
        "estimate-desk": f"{fleet}estimates/{kept.pk}/", "estimate-preview": f"{fleet}estimates/{kept.pk}/preview/",
    }  # fmt: skip


def route_names() -> set[str]:
    """The names of the portal's routes."""
    found: set[str] = set()
    for pattern in get_resolver("fleetcare.portal.urls").url_patterns:
        inner: list[Any] = getattr(pattern, "url_patterns", [pattern])
        found |= {each.name for each in inner if getattr(each, "name", None)}
    return found


def many_vehicles(cast: Cast, count: int) -> None:
    """More vehicles, for what grows with them."""
    for number in range(count):
        factories.vehicle(cast.fleet, name=f"Qz {number}")
