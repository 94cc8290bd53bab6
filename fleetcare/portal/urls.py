"""Addresses of the pages."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from fleetcare.portal.web import decide, due, jobs, estimates, pages, reminders, report
from fleetcare.portal.web.walk import installed
from fleetcare.portal.web.walk import pages as walk

_sign_in = LoginView.as_view(template_name="portal/sign_in.html", redirect_authenticated_user=True)

_VEHICLE = "fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/"
_WALK = f"{_VEHICLE}walks/<uuid:inspection_id>/"

urlpatterns = [
    path("reminders/stop/<str:token>/", reminders.stop_reminders, name="reminders-stop"),
    path("calendar/<str:token>.ics", reminders.calendar, name="calendar"),
    path("", pages.home, name="home"),
    path("sign-in/", _sign_in, name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("fleets/<uuid:fleet_id>/", pages.fleet, name="fleet"),
    path("fleets/<uuid:fleet_id>/decide/", decide.decide, name="decide"),
    path("fleets/<uuid:fleet_id>/due/", due.due, name="due"),
    path("fleets/<uuid:fleet_id>/due/<uuid:due_id>/", due.act, name="due-act"),
    path("fleets/<uuid:fleet_id>/jobs/", jobs.jobs, name="jobs"),
    path(f"{_VEHICLE}jobs/", jobs.open_one, name="job-open"),
    path(f"{_VEHICLE}jobs/<uuid:job_id>/", jobs.job, name="job"),
    path(f"{_VEHICLE}kit/", jobs.kit, name="kit"),
    path("fleets/<uuid:fleet_id>/plans/<uuid:plan_id>/", decide.plan, name="plan"),
    path("fleets/<uuid:fleet_id>/plans/<uuid:plan_id>/renew/", decide.renew, name="plan-renew"),
    path("fleets/<uuid:fleet_id>/plans/<uuid:plan_id>/forget/", decide.forget, name="plan-forget"),
    path("fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/", pages.vehicle, name="vehicle"),
    path(
        "fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/inspections/<uuid:inspection_id>/",
        pages.inspection,
        name="inspection",
    ),
    path(f"{_VEHICLE}walks/", walk.start, name="walk-start"),
    path(_WALK, walk.overview, name="walk"),
    path(f"{_VEHICLE}inspections/<uuid:inspection_id>/photos/", walk.photo, name="walk-photo"),
    path(f"{_WALK}finish/", walk.finish, name="walk-finish"),
    path(f"{_WALK}discard/", walk.discard, name="walk-discard"),
    path(f"{_WALK}at/<slug:station_key>/", walk.station, name="walk-station"),
    path(f"{_WALK}at/<slug:station_key>/repeat/", walk.repeat, name="walk-repeat"),
    path(f"{_VEHICLE}report/", report.report, name="report"),
    path(f"{_VEHICLE}report/links/", report.share, name="report-share"),
    path(f"{_VEHICLE}report/links/<uuid:link_id>/revoke/", report.revoke, name="report-revoke"),
    path("r/<slug:token>/", report.shared, name="shared-report"),
    path("r/<slug:token>/report.pdf", report.shared_pdf, name="shared-report-pdf"),
    path("r/<slug:token>/photos/<uuid:photo_id>/image/", report.shared_photo, {"size": "image"}),
    path("r/<slug:token>/photos/<uuid:photo_id>/thumbnail/", report.shared_photo, {"size": "thumbnail"}),
    path("e/<slug:token>/", estimates.estimate, name="estimate"),
    path("manifest.webmanifest", installed.manifest, name="manifest"),
    path("sw.js", installed.worker, name="worker"),
    path("offline/", installed.offline, name="offline"),
    path("session/", installed.session, name="session"),
]
