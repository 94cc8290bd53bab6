"""The pages of a walk as plain forms: to whom, in which order, what they store, how many questions they ask."""

import io
import re
import uuid
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from django.test import Client
from PIL import Image

from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.portal.web.walk.forms import decimal_of, distance_of
from fleetcare.support.bell import bell_held
from inspections.models import Inspection, Photo, Result, ResultEntry
from inspections.services.walking import save_entries, start_walk
from tests.conftest import ROLES, Cast
from tests.fleetcare.portal.markup import Element, Markup, parsed, words
from tests.fleetcare.portal.test_page_markup import TEMPLATES as _OTHERS
from tests.fleetcare.portal.test_page_markup import (
    test_every_word_of_a_template_is_marked_for_translation as every_word_is_marked,
)
from tests.fleetcare.portal.test_page_markup import test_no_template_reckons as no_template_reckons
from tests.inspections.given import BOOT, PADS, inspect, result

CORNER = "raised-corner-front-left"
HOSE = "brake-hose.condition"
TEMPLATES = sorted((_OTHERS[0].parent / "walk").glob("*.html"))


@pytest.fixture
def walk(cast: Cast) -> Inspection:
    """A walk with the wheels off, over a car that was looked at before."""
    on = today(cast.fleet)
    with bell_held():
        inspect(
            cast.access,
            cast.vehicle,
            result(HOSE, "front-left", grade="minor", note="chafed"),
            result(PADS, "front-left", measurement={"value": 5.5, "unit": "mm"}),
            inspected_on=on - timedelta(days=90),
        )
        begun = start_walk(
            cast.access, cast.vehicle, sheet="wheels-off", inspected_on=on, shown_km=Decimal(121_000), inspector="R. A."
        )
    return begun[0]


@pytest.fixture
def client(cast: Cast, browser_of: Any) -> Client:
    made: Client = browser_of(cast, Role.INSPECTOR)
    return made


def address(cast: Cast, walk: Inspection | None = None, rest: str = "") -> str:
    inside = f"{walk.pk}/{rest}" if walk else ""
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/walks/{inside}"


def addresses(cast: Cast, walk: Inspection) -> dict[str, str]:
    return {
        "start": address(cast),
        "overview": address(cast, walk),
        "station": address(cast, walk, f"at/{CORNER}/"),
        "finish": address(cast, walk, "finish/"),
    }


PAGES = ["start", "overview", "station", "finish"]


def check_of(markup: Markup, key: str, position: str = "front-left") -> Element:
    (found,) = [
        each
        for each in markup.of_class("check")
        if each.attributes["data-check"] == key and each.attributes["data-position"] == position
    ]
    return found


def form(key: str = PADS, position: str = "front-left", **said: Any) -> dict[str, Any]:
    return {"check": key, "position": position, "following": "check-9", **said}


def row(walk: Inspection, key: str = PADS) -> Result:
    return Result.objects.within(walk.fleet_id).get(inspection=walk, check_key=key, position="front-left")


# --- Who --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("page", PAGES)
def test_inspectors_and_those_above_walk_and_a_viewer_is_told_why_not(
    cast: Cast, walk: Inspection, browser_of: Any, role: Role, page: str
) -> None:
    answer = browser_of(cast, role).get(addresses(cast, walk)[page])
    assert answer.status_code == (200 if role.includes(Role.INSPECTOR) else 403)
    if role == Role.VIEWER:
        assert "Your role in this fleet does not include this" in answer.content.decode()


def test_only_who_may_inspect_is_offered_the_walk(cast: Cast, browser_of: Any) -> None:
    page = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/"
    offered = [
        address(cast) in browser_of(cast, role).get(page).content.decode() for role in (Role.VIEWER, Role.INSPECTOR)
    ]
    assert offered == [False, True]


@pytest.mark.parametrize("page", [*PAGES, "repeat", "discard", "photo"])
def test_another_fleets_walk_is_not_there(
    cast: Cast, strangers: Cast, walk: Inspection, browser_of: Any, page: str
) -> None:
    photos = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/inspections/{walk.pk}/photos/"
    posts = {
        "repeat": address(cast, walk, f"at/{CORNER}/repeat/"),
        "discard": address(cast, walk, "discard/"),
        "photo": photos,
    }
    stranger, here = browser_of(strangers, Role.OWNER), {**addresses(cast, walk), **posts}[page]
    under_own = here.replace(str(cast.fleet.pk), str(strangers.fleet.pk))
    grafted = under_own.replace(str(cast.vehicle.pk), str(strangers.vehicle.pk))
    for each in (here, under_own, *([grafted] if page != "start" else [])):
        assert stranger.post(each, {"sure": "yes"}).status_code == (404 if page not in {"overview"} else 405)
        if page in PAGES:
            assert stranger.get(each).status_code == 404
    assert Inspection.objects.within(cast.fleet).filter(pk=walk.pk).exists()


def test_a_station_that_is_not_on_this_walk_is_not_there(cast: Cast, walk: Inspection, client: Client) -> None:
    assert client.get(address(cast, walk, "at/bonnet/")).status_code == 404
    assert client.post(address(cast, walk, "at/bonnet/repeat/")).status_code == 404


# --- Starting ---------------------------------------------------------------------------------------------------------


def start_form(cast: Cast, **changes: Any) -> dict[str, Any]:
    said = {"sheet": "five-minute", "odometer": "121.050", "inspected_on": today(cast.fleet).isoformat()}
    return {**said, **changes}


def test_a_sheet_is_chosen_by_what_it_is_for_and_how_long_it_takes(
    cast: Cast, walk: Inspection, client: Client
) -> None:
    markup = parsed(client.get(address(cast)).content)
    names = [words(each.text) for each in markup.of_class("walk-sheet-name")]
    assert names[0] == "Five-minute walk-round"
    assert names[-1] == "Full"
    assert words(markup.of_class("walk-sheet-time")[0].text) == "7 min"
    (begun,) = markup.of_class("walk-open-link")
    assert begun.attributes["href"] == address(cast, walk)
    assert "0 of " in words(begun.text)


def test_beginning_leads_to_the_stations_and_two_taps_begin_one_walk(cast: Cast, client: Client) -> None:
    said = start_form(cast, key=str(uuid.uuid4()), inspector="R. Amsel", anew="on")
    first, second = client.post(address(cast), said), client.post(address(cast), said)
    assert first.status_code == 302
    assert first["Location"] == second["Location"]
    (begun,) = Inspection.objects.within(cast.fleet)
    assert (begun.reading.shown_km, begun.inspector) == (121_050, "R. Amsel")
    markup = parsed(client.get(first["Location"]).content)
    assert [words(each.text) for each in markup.of_class("walk-station-name")] == ["In the cabin", "Walking round"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"odometer": "far"}, "odometer"),
        ({"odometer": "1210"}, "odometer"),
        ({"inspected_on": "2999-01-01"}, "inspected_on"),
        ({"inspected_on": "yesterday"}, "inspected_on"),
    ],
)
def test_a_slip_at_the_start_is_told_at_its_field_and_nothing_typed_is_lost(
    cast: Cast, walk: Inspection, client: Client, changes: dict[str, str], field: str
) -> None:
    answer = client.post(address(cast), start_form(cast, sheet="before-trip", inspector="R. Amsel", **changes))
    assert answer.status_code == 422
    markup = parsed(answer.content)
    wrong = [each.attributes["name"] for each in markup.all("input") if "aria-invalid" in each.attributes]
    assert wrong == [field]
    kept = {each.attributes["name"]: each.attributes.get("value") for each in markup.all("input")}
    assert kept["inspector"] == "R. Amsel"
    assert kept[field] == changes[field]
    assert not Inspection.objects.within(cast.fleet).filter(sheet="before-trip").exists()


def test_an_odometer_is_read_as_it_is_meant_in_the_fleets_unit(cast: Cast, client: Client) -> None:
    assert [distance_of(text) for text in ("187 450", "187.450", "187,450", "187'450", "187450,5", "99.5", "x")] == [
        *[Decimal(187_450)] * 4,
        Decimal("187450.5"),
        Decimal("99.5"),
        None,
    ]
    assert [decimal_of(text) for text in ("3,5", "3.5", " 3.5 ", "3.5.1", "NaN", "")] == [
        *[Decimal("3.5")] * 3,
        None,
        None,
        None,
    ]
    type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(distance_unit="mi")
    client.post(address(cast), start_form(cast, odometer="91,000"))
    # 91,000 miles of 1.609344 km (international agreement of 1959).
    assert Inspection.objects.within(cast.fleet).get().reading.shown_km == Decimal("146450.304")


# --- Recording --------------------------------------------------------------------------------------------------------


def test_cautions_come_before_the_first_check(cast: Cast, walk: Inspection, client: Client) -> None:
    markup = parsed(client.get(addresses(cast, walk)["station"]).content)
    text = words(markup.all("main")[0].text)
    first = words(markup.of_class("check")[0].text)
    assert 0 < text.index("Before you begin here") < text.index("held by a jack alone") < text.index(first)
    # Each check with a caution of its own tells it before how it is done.
    order = [each for each in markup.elements if each.classes & {"check-cautions", "check-method"}]
    kinds = ["check-cautions" in each.classes for each in order]
    assert any(kinds)
    assert all(not after for before, after in pairwise(kinds) if before)


def test_last_times_result_stands_beside_the_check(cast: Cast, walk: Inspection, client: Client) -> None:
    markup = parsed(client.get(addresses(cast, walk)["station"]).content)
    assert "Last time" in check_of(markup, PADS).text
    assert "5.5 mm" in check_of(markup, PADS).text
    assert "chafed" in check_of(markup, HOSE).text
    assert "Measured, at least" in words(check_of(markup, PADS).text)


def test_a_figure_with_a_comma_is_stored_and_one_goes_on_to_the_next(
    cast: Cast, walk: Inspection, client: Client
) -> None:
    station = addresses(cast, walk)["station"]
    answer = client.post(station, form(value="3,5", unit="mm"))
    assert answer["Location"] == f"{station}#check-9"
    assert (row(walk).value, row(walk).grade) == (3.5, 1)
    assert 'value="3.5"' in client.get(station).content.decode()


def test_observations_imply_the_grade_whatever_milder_was_ticked(cast: Cast, walk: Inspection, client: Client) -> None:
    client.post(addresses(cast, walk)["station"], form(BOOT, grade="sound", observations=["torn"]))
    assert row(walk, BOOT).grade == 2


def test_not_examined_takes_a_reason(cast: Cast, walk: Inspection, client: Client) -> None:
    station = addresses(cast, walk)["station"]
    refused = client.post(station, form(grade="not-examined"))
    assert refused.status_code == 422
    assert "Say why" in check_of(parsed(refused.content), PADS).text
    client.post(station, form(grade="not-examined", not_examined="no access"))
    assert (row(walk).grade, row(walk).not_examined) == (None, "no access")
    client.post(station, form(grade="not-examined", not_examined="no access", other_reason="bolts seized"))
    assert row(walk).not_examined == "bolts seized"


@pytest.mark.parametrize(
    ("said", "sentence"),
    [({"value": "900", "unit": "mm"}, "cannot be true"), ({"value": "much", "unit": "mm"}, "no number")],
)
def test_what_cannot_be_is_told_at_the_check_with_everything_still_in_it(
    cast: Cast, walk: Inspection, client: Client, said: dict[str, str], sentence: str
) -> None:
    answer = client.post(addresses(cast, walk)["station"], form(note="measured twice", **said))
    wrong = check_of(parsed(answer.content), PADS)
    assert answer.status_code == 422
    assert sentence in wrong.text
    assert "measured twice" in wrong.text
    assert f'value="{said["value"]}"' in answer.content.decode()
    assert not ResultEntry.objects.within(cast.fleet).exists()


def test_an_empty_form_is_passed_over(cast: Cast, walk: Inspection, client: Client) -> None:
    assert client.post(addresses(cast, walk)["station"], form()).status_code == 302
    assert not ResultEntry.objects.within(cast.fleet).exists()


@pytest.mark.parametrize("following", ["https://elsewhere.example/", "check-1 x", "../../"])
def test_the_next_check_leads_to_no_other_place(cast: Cast, walk: Inspection, client: Client, following: str) -> None:
    station = addresses(cast, walk)["station"]
    assert client.post(station, form(grade="sound", following=following))["Location"] == station


def test_a_whole_station_is_the_same_as_last_time_except_what_was_measured(
    cast: Cast, walk: Inspection, client: Client
) -> None:
    station = addresses(cast, walk)["station"]
    assert "Same as last time: 1 check" in words(client.get(station).content.decode())
    assert client.post(f"{station}repeat/").status_code == 302
    assert [(each.check_key, each.same_as_last) for each in Result.objects.within(cast.fleet).filter(inspection=walk)]
    assert row(walk, HOSE).note == "chafed"
    markup = parsed(client.get(station).content)
    assert "same as last time" in check_of(markup, HOSE).text
    assert "walk-repeat" not in {name for element in markup.elements for name in element.classes}


def test_two_phones_that_differ_are_shown_beside_each_other(cast: Cast, walk: Inspection, client: Client) -> None:
    for grade, age, device in (("dangerous", 60.0, "a"), ("minor", 0.0, "b")):
        given = {"id": uuid.uuid4(), "age_seconds": age, **result(HOSE, "front-left", grade=grade)}
        save_entries(cast.access, walk, [given], device)
    told = words(check_of(parsed(client.get(addresses(cast, walk)["station"]).content), HOSE).text)
    assert "said otherwise" in told
    summary = words(client.get(addresses(cast, walk)["finish"]).content.decode())
    assert "Two phones said different things" in summary


def test_how_checks_are_shown_is_kept_on_the_device(cast: Cast, walk: Inspection, client: Client) -> None:
    station = addresses(cast, walk)["station"]
    assert "walk-one" in client.get(station).content.decode()
    assert "walk-list" in client.get(f"{station}?layout=list").content.decode()
    assert 'class="sheet walk walk-list"' in client.get(station).content.decode()
    assert 'class="sheet walk walk-one"' in client.get(f"{station}?layout=nonsense").content.decode()


def test_progress_counts_checks_and_the_minutes_left_shrink(cast: Cast, walk: Inspection, client: Client) -> None:
    def minutes() -> str:
        (left, *_) = parsed(client.get(addresses(cast, walk)["overview"]).content).of_class("walk-left")
        return words(left.text)

    before = minutes()
    station = parsed(client.get(addresses(cast, walk)["station"]).content)
    places = [(each.attributes["data-check"], each.attributes["data-position"]) for each in station.of_class("check")]
    given = [{"id": uuid.uuid4(), "check": c, "position": p, "grade": "sound"} for c, p in places]
    save_entries(cast.access, walk, given)
    overview = client.get(addresses(cast, walk)["overview"]).content
    assert f"{len(places)} of " in words(overview.decode())
    assert "Go on" in words(overview.decode())
    assert before == "about 1 hr 30 min left"
    assert minutes() != before


# --- Photos -----------------------------------------------------------------------------------------------------------


def picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "grey").save(file, "JPEG")
    file.seek(0)
    file.name = "phone.jpg"
    return file


def test_a_photo_is_stored_at_its_check_and_shown_there(cast: Cast, walk: Inspection, client: Client) -> None:
    photos = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/inspections/{walk.pk}/photos/"
    place = {"check": PADS, "position": "front-left", "station": CORNER, "anchor": "check-3"}
    answer = client.post(photos, {**place, "photo": picture()})
    assert answer["Location"].endswith(f"at/{CORNER}/#check-3")
    kept = Photo.objects.within(cast.fleet).get()
    assert (kept.check_key, kept.inspection_id) == (PADS, walk.pk)
    markup = parsed(client.get(addresses(cast, walk)["station"]).content)
    (shown,) = markup.all("img")
    assert str(kept.pk) in shown.attributes["src"]
    assert shown.attributes["alt"]
    assert client.get(shown.attributes["src"]).status_code == 200


@pytest.mark.parametrize("content", [b"<svg xmlns='http://www.w3.org/2000/svg'/>", b""])
def test_what_is_no_picture_is_told_at_its_check(cast: Cast, walk: Inspection, client: Client, content: bytes) -> None:
    photos = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/inspections/{walk.pk}/photos/"
    file = io.BytesIO(content)
    file.name = "phone.jpg"
    answer = client.post(photos, {"check": PADS, "position": "front-left", "station": CORNER, "photo": file})
    assert answer.status_code == 422
    assert check_of(parsed(answer.content), PADS).classes >= {"check-wrong"}
    assert not Photo.objects.within(cast.fleet).exists()


# --- Finishing --------------------------------------------------------------------------------------------------------


def finish_form(cast: Cast, **changes: Any) -> dict[str, Any]:
    return {"odometer": "121100", "inspected_on": today(cast.fleet).isoformat(), "inspector": "R. Amsel", **changes}


def test_the_summary_puts_the_dangerous_first_and_counts_what_is_open(
    cast: Cast, walk: Inspection, client: Client
) -> None:
    station = addresses(cast, walk)["station"]
    client.post(station, form(HOSE, grade="minor"))
    client.post(station, form(value="0,4", unit="mm"))
    client.post(station, form(BOOT, grade="not-examined", not_examined="no access"))
    markup = parsed(client.get(addresses(cast, walk)["finish"]).content)
    text = words(markup.all("main")[0].text)
    titles = [words(each.text) for each in markup.all("h3")]
    assert text.index("Do not drive") < text.index("Before it is completed") < text.index(titles[0])
    assert "pad" in titles[0]
    assert "hose" in titles[1]
    assert "no access" in text
    assert re.search(r"\d+ checks have no result", text)


def test_completing_leads_to_the_vehicle_whose_verdict_rests_on_it(
    cast: Cast, walk: Inspection, client: Client
) -> None:
    client.post(addresses(cast, walk)["station"], form(value="0,4", unit="mm"))
    answer = client.post(
        addresses(cast, walk)["finish"], finish_form(cast, trouble_codes="p0335, U0A1F", because_open="no time")
    )
    assert answer["Location"] == f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/"
    assert "Do not drive" in words(client.get(answer["Location"]).content.decode())
    walk.refresh_from_db()
    assert (walk.state, walk.trouble_codes, walk.reading.shown_km) == ("completed", ["P0335", "U0A1F"], 121_100)
    # Its pages lead on to what it became; sending the last form again changes nothing.
    inspection = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/inspections/{walk.pk}/"
    for page in ("overview", "station", "finish"):
        assert client.get(addresses(cast, walk)[page])["Location"] == inspection
    assert client.post(addresses(cast, walk)["finish"], finish_form(cast))["Location"] == inspection
    assert client.post(address(cast, walk, "discard/"), {"sure": "yes"})["Location"] == inspection


@pytest.mark.parametrize(
    ("changes", "field"), [({"trouble_codes": "P0335 XYZ"}, "trouble_codes"), ({"odometer": "1"}, "odometer")]
)
def test_a_slip_at_the_end_is_told_at_its_field_and_nothing_is_completed(
    cast: Cast, walk: Inspection, client: Client, changes: dict[str, str], field: str
) -> None:
    client.post(addresses(cast, walk)["station"], form(grade="sound"))
    answer = client.post(addresses(cast, walk)["finish"], finish_form(cast, note="kept", **changes))
    assert answer.status_code == 422
    markup = parsed(answer.content)
    assert [e.attributes["name"] for e in markup.all("input") if "aria-invalid" in e.attributes] == [field]
    assert "kept" in markup.all("main")[0].text
    walk.refresh_from_db()
    assert walk.state == "draft"


def test_a_walk_is_thrown_away_only_when_that_is_ticked(cast: Cast, walk: Inspection, client: Client) -> None:
    assert client.post(address(cast, walk, "discard/"))["Location"] == address(cast, walk)
    assert client.post(address(cast, walk, "discard/"), {"sure": "yes"})["Location"] == address(cast)
    assert not Inspection.objects.within(cast.fleet).filter(pk=walk.pk).exists()


# --- What holds for each page -----------------------------------------------------------------------------------------

QUERIES = {
    "start": 5,  # session, user, membership with fleet, vehicle with standing, open walks
    "overview": 6,  # session, user, membership, vehicle, inspection with reading, results
    "station": 10,  # the same; members, journal, photos, last time's results
    "finish": 10,
}


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_a_walk_asks_the_same_number_of_questions_of_little_and_of_much(
    cast: Cast, walk: Inspection, client: Client, django_assert_num_queries: Any, page: str
) -> None:
    here = addresses(cast, walk)[page]
    with django_assert_num_queries(QUERIES[page]):
        assert client.get(here).status_code == 200
    with bell_held():
        for days in range(1, 5):
            on = today(cast.fleet) - timedelta(days=90 + days)
            many = [result(HOSE, place) for place in ("front-left", "front-right", "rear-left", "rear-right")]
            inspect(cast.access, cast.vehicle, *many, inspected_on=on, shown_km=Decimal(119_000 - days))
            start_walk(
                cast.access,
                cast.vehicle,
                sheet="full",
                inspected_on=walk.inspected_on,
                shown_km=Decimal(121_000),
                anew=True,
            )
    for device in "abcdef":
        given = [{"id": uuid.uuid4(), **result(HOSE, place, grade="minor")} for place in ("front-left", "front-right")]
        save_entries(cast.access, walk, given, device)
    with django_assert_num_queries(QUERIES[page]):
        assert client.get(here).status_code == 200


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_a_walk_is_sound_markup(cast: Cast, walk: Inspection, client: Client, page: str) -> None:
    client.post(addresses(cast, walk)["station"], form(grade="minor", note="<b>odd</b>"))
    answer = client.get(addresses(cast, walk)[page])
    markup = parsed(answer.content)
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert len(markup.all("h1")) == 1
    ids = [each.attributes["id"] for each in markup.elements if "id" in each.attributes]
    assert len(ids) == len(set(ids))
    labelled = {label.attributes["for"] for label in markup.all("label") if "for" in label.attributes}
    for field in [*markup.all("input"), *markup.all("select"), *markup.all("textarea")]:
        if field.attributes.get("type") != "hidden":
            assert "label" in field.within or field.attributes["id"] in labelled, field
    for element in markup.elements:
        assert "style" not in element.attributes
        assert not [name for name in element.attributes if name.startswith("on")]
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set(element.attributes.get(name, "").split()) <= set(ids), element
        target = element.attributes.get("href", "")
        if target.startswith("#") and not target.startswith("#mark-"):
            assert target[1:] in ids, element
    assert "<b>odd" not in answer.content.decode()


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_the_walks_templates_are_translated_and_do_not_reckon(template: Any) -> None:
    every_word_is_marked(template)
    no_template_reckons(template)
