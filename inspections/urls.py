"""Addresses under /api/v1/ of this feature."""

from django.urls import path

from inspections.api import catalogue, fuel, judgement, lives, photos, suspects, vehicle

_VEHICLE = "fleets/<uuid:fleet_id>/vehicles/<uuid:vehicle_id>/"
_INSPECTION = f"{_VEHICLE}inspections/<uuid:inspection_id>/"

urlpatterns = [
    path("catalogue/systems/", catalogue.Systems.as_view()),
    path("catalogue/parts/", catalogue.CatalogueParts.as_view()),
    path("catalogue/checks/", catalogue.Checks.as_view()),
    path("catalogue/jobs/", catalogue.CatalogueJobs.as_view()),
    path("catalogue/sheets/", catalogue.Sheets.as_view()),
    path("catalogue/complaints/", suspects.Complaints.as_view()),
    path("catalogue/codes/", suspects.Codes.as_view()),
    path(f"{_VEHICLE}walk/", vehicle.VehicleWalk.as_view()),
    path(f"{_VEHICLE}parts/", vehicle.Parts.as_view()),
    path(f"{_VEHICLE}parts/history/", vehicle.PartHistory.as_view()),
    path(f"{_VEHICLE}inspections/", vehicle.Inspections.as_view()),
    path(_INSPECTION, vehicle.OneInspection.as_view()),
    path(f"{_INSPECTION}results/", vehicle.InspectionResults.as_view()),
    path(f"{_INSPECTION}entries/", vehicle.InspectionEntries.as_view()),
    path(f"{_INSPECTION}complete/", vehicle.CompleteInspection.as_view()),
    path(f"{_INSPECTION}photos/", photos.InspectionPhotos.as_view()),
    path(f"{_VEHICLE}photos/", photos.VehiclePhotos.as_view()),
    path(f"{_VEHICLE}photos/<uuid:photo_id>/", photos.OnePhoto.as_view()),
    path(f"{_VEHICLE}photos/<uuid:photo_id>/image/", photos.PhotoImage.as_view()),
    path(f"{_VEHICLE}photos/<uuid:photo_id>/thumbnail/", photos.PhotoThumbnail.as_view()),
    path(f"{_VEHICLE}findings/", vehicle.Findings.as_view()),
    path(f"{_VEHICLE}findings/<uuid:finding_id>/", vehicle.OneFinding.as_view()),
    path(f"{_VEHICLE}condition/", judgement.Condition.as_view()),
    path(f"{_VEHICLE}condition/history/", judgement.ConditionHistory.as_view()),
    path(f"{_VEHICLE}condition/explain/", judgement.Explanation.as_view()),
    path(f"{_VEHICLE}forecast/", judgement.Forecast.as_view()),
    path(f"{_VEHICLE}suspects/", suspects.Suspects.as_view()),
    path(f"{_VEHICLE}fuel/consumption/", fuel.FuelConsumption.as_view()),
    path("fleets/<uuid:fleet_id>/lives/", lives.Lives.as_view()),
]
