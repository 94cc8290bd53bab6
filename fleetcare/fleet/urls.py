"""Addresses under /api/v1/ of this feature."""

from django.urls import path

from fleetcare.fleet.api import audit, fleets, fuel, invitations, leaving, vehicles

_FLEET = "fleets/<uuid:fleet_id>/"
_VEHICLE = f"{_FLEET}vehicles/<uuid:vehicle_id>/"

urlpatterns = [
    path("fleets/", fleets.Fleets.as_view()),
    path(_FLEET, fleets.OneFleet.as_view()),
    path(f"{_FLEET}members/", fleets.Members.as_view()),
    path(f"{_FLEET}members/<uuid:member_id>/", fleets.OneMember.as_view()),
    path(f"{_FLEET}invitations/", invitations.Invitations.as_view()),
    path(f"{_FLEET}invitations/<uuid:invitation_id>/", invitations.OneInvitation.as_view()),
    path(f"{_FLEET}keys/", fleets.Keys.as_view()),
    path(f"{_FLEET}keys/<uuid:key_id>/", fleets.OneKey.as_view()),
    path(f"{_FLEET}audit/", audit.Audit.as_view()),
    path(f"{_FLEET}leaving/", leaving.Leaving.as_view()),
    path(f"{_FLEET}contacts/", fleets.Contacts.as_view()),
    path(f"{_FLEET}contacts/<uuid:contact_id>/", fleets.OneContact.as_view()),
    path(f"{_FLEET}vehicles/", vehicles.Vehicles.as_view()),
    path(_VEHICLE, vehicles.OneVehicle.as_view()),
    path(f"{_VEHICLE}odometer/", vehicles.Odometer.as_view()),
    path(f"{_VEHICLE}odometer/<uuid:reading_id>/", vehicles.OneReading.as_view()),
    path(f"{_VEHICLE}fuel/", fuel.Fuel.as_view()),
    path(f"{_VEHICLE}fuel/<uuid:fill_id>/", fuel.OneFuelFill.as_view()),
]
