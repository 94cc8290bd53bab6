"""Addresses under /api/v1/ of what joins features."""

from django.urls import path

from fleetcare.portal.api import exchange, report

_FLEET = "fleets/<uuid:fleet_id>/"
_VEHICLE = f"{_FLEET}vehicles/<uuid:vehicle_id>/"

urlpatterns = [
    path(f"{_FLEET}exports/", exchange.Exports.as_view()),
    path(f"{_FLEET}exports/<uuid:export_id>/", exchange.OneExport.as_view()),
    path(f"{_FLEET}exports/<uuid:export_id>/file/", exchange.ExportFile.as_view()),
    path(f"{_FLEET}restores/", exchange.Restores.as_view()),
    path(f"{_FLEET}restores/<uuid:restore_id>/", exchange.OneRestore.as_view()),
    path(f"{_FLEET}imports/", exchange.Imports.as_view()),
    path(f"{_FLEET}imports/<uuid:import_id>/", exchange.OneImport.as_view()),
    path(f"{_FLEET}imports/<uuid:import_id>/store/", exchange.StoreImport.as_view()),
    path(f"{_FLEET}imports/<uuid:import_id>/bad-rows/", exchange.BadRows.as_view()),
    path(f"{_VEHICLE}report.pdf", report.ReportPdf.as_view()),
    path(f"{_VEHICLE}links/", report.Links.as_view()),
    path(f"{_VEHICLE}links/<uuid:report_link_id>/", report.OneLink.as_view()),
]
