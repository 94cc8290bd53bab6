"""Who may call what: the least role of every route and method. A route missing here fails the build."""

FLEET = "fleets/<uuid:fleet_id>/"
VEHICLE = f"{FLEET}vehicles/<uuid:vehicle_id>/"
INSPECTION = f"{VEHICLE}inspections/<uuid:inspection_id>/"

PUBLIC, SIGNED_IN, PERSON = "public", "signed-in", "person"
VIEWER, INSPECTOR, PLANNER, OWNER = "viewer", "inspector", "planner", "owner"
OWNER_OR_SELF = "owner, or the member leaving"

POLICY: dict[tuple[str, str], str] = {
    ("schema/", "GET"): PUBLIC,
    ("catalogue/systems/", "GET"): SIGNED_IN,
    ("catalogue/parts/", "GET"): SIGNED_IN,
    ("catalogue/checks/", "GET"): SIGNED_IN,
    ("catalogue/jobs/", "GET"): SIGNED_IN,
    ("catalogue/sheets/", "GET"): SIGNED_IN,
    ("catalogue/complaints/", "GET"): SIGNED_IN,
    ("catalogue/codes/", "GET"): SIGNED_IN,
    ("fleets/", "GET"): SIGNED_IN,
    ("fleets/", "POST"): PERSON,
    (FLEET, "GET"): VIEWER,
    (FLEET, "PATCH"): OWNER,
    (f"{FLEET}members/", "GET"): VIEWER,
    (f"{FLEET}members/", "POST"): OWNER,
    (f"{FLEET}members/<uuid:member_id>/", "GET"): VIEWER,
    (f"{FLEET}members/<uuid:member_id>/", "PATCH"): OWNER,
    (f"{FLEET}members/<uuid:member_id>/", "DELETE"): OWNER_OR_SELF,
    (f"{FLEET}keys/", "GET"): OWNER,
    (f"{FLEET}keys/", "POST"): OWNER,
    (f"{FLEET}keys/<uuid:key_id>/", "GET"): OWNER,
    (f"{FLEET}keys/<uuid:key_id>/", "DELETE"): OWNER,
    (f"{FLEET}contacts/", "GET"): VIEWER,
    (f"{FLEET}contacts/", "POST"): PLANNER,
    (f"{FLEET}contacts/<uuid:contact_id>/", "GET"): VIEWER,
    (f"{FLEET}contacts/<uuid:contact_id>/", "PATCH"): PLANNER,
    (f"{FLEET}contacts/<uuid:contact_id>/", "DELETE"): PLANNER,
    (f"{FLEET}vehicles/", "GET"): VIEWER,
    (f"{FLEET}vehicles/", "POST"): PLANNER,
    (VEHICLE, "GET"): VIEWER,
    (VEHICLE, "PUT"): PLANNER,
    (VEHICLE, "PATCH"): PLANNER,
    (f"{VEHICLE}odometer/", "GET"): VIEWER,
    (f"{VEHICLE}odometer/", "POST"): INSPECTOR,
    (f"{VEHICLE}odometer/<uuid:reading_id>/", "GET"): VIEWER,
    (f"{VEHICLE}odometer/<uuid:reading_id>/", "DELETE"): PLANNER,
    (f"{VEHICLE}fuel/", "GET"): VIEWER,
    (f"{VEHICLE}fuel/", "POST"): INSPECTOR,
    (f"{VEHICLE}fuel/<uuid:fill_id>/", "GET"): VIEWER,
    (f"{VEHICLE}fuel/<uuid:fill_id>/", "DELETE"): PLANNER,
    (f"{VEHICLE}fuel/consumption/", "GET"): VIEWER,
    (f"{VEHICLE}walk/", "GET"): VIEWER,
    (f"{VEHICLE}parts/", "GET"): VIEWER,
    (f"{VEHICLE}parts/", "POST"): INSPECTOR,
    (f"{VEHICLE}parts/history/", "GET"): VIEWER,
    (f"{VEHICLE}inspections/", "GET"): VIEWER,
    (f"{VEHICLE}inspections/", "POST"): INSPECTOR,
    (INSPECTION, "GET"): VIEWER,
    (INSPECTION, "PUT"): INSPECTOR,
    (f"{INSPECTION}results/", "POST"): INSPECTOR,
    (f"{INSPECTION}complete/", "POST"): INSPECTOR,
    (f"{VEHICLE}findings/", "GET"): VIEWER,
    (f"{VEHICLE}findings/<uuid:finding_id>/", "GET"): VIEWER,
    (f"{VEHICLE}findings/<uuid:finding_id>/", "PATCH"): PLANNER,
    (f"{VEHICLE}condition/", "GET"): VIEWER,
    (f"{VEHICLE}condition/history/", "GET"): VIEWER,
    (f"{VEHICLE}condition/explain/", "GET"): VIEWER,
    (f"{VEHICLE}forecast/", "GET"): VIEWER,
    (f"{VEHICLE}suspects/", "POST"): VIEWER,
    (f"{VEHICLE}backlog/", "GET"): VIEWER,
    (f"{FLEET}backlog/", "GET"): VIEWER,
    (f"{FLEET}plans/", "POST"): PLANNER,
    (f"{FLEET}lives/", "GET"): VIEWER,
}

PUT_CREATES = {VEHICLE, INSPECTION}
"""Where a PUT with an unknown id makes the thing: there a missing id is no 404."""
