"""What holds for every page: no inline style or script, names for everything, words marked for translation."""

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.template.base import Lexer, TokenType
from django.test import Client

from fleetcare.fleet.words import Role
from fleetcare.portal import apps
from tests.conftest import make_cast
from tests.fleetcare.portal.conftest import make_household
from tests.fleetcare.portal.markup import Markup, parsed, words
from tests.fleetcare.portal.raw_values import raw_values

PORTAL = Path(apps.__file__).parent
TEMPLATES = sorted((PORTAL / "templates" / "portal").glob("*.html"))
STYLE = PORTAL / "static" / "fleetcare" / "fleetcare.css"
EVERY_PAGE = ["sign-in", "refused sign-in", "fleet", "search", "vehicle", "unknown vehicle", "inspection", "missing"]


@pytest.fixture(scope="module")
def answers(django_db_setup: Any, django_db_blocker: Any) -> dict[str, Any]:
    """Every page, asked for once."""
    with django_db_blocker.unblock(), transaction.atomic():
        household = make_household(make_cast("Home"))
        browser, anyone = Client(), Client()
        browser.force_login(household.cast.members[Role.VIEWER])
        others = {"search": f"{household.pages['fleet']}?q=nothing+like+it", "missing": "/missing/"}
        found = {page: browser.get(address) for page, address in {**household.pages, **others}.items()}
        found["sign-in"] = anyone.get("/sign-in/")
        found["refused sign-in"] = anyone.post("/sign-in/", {"login": "x@y.example", "password": "no"})
        transaction.set_rollback(True)
    return found


@pytest.fixture(params=EVERY_PAGE)
def answer(request: Any, answers: dict[str, Any]) -> Any:
    return answers[request.param]


@pytest.fixture
def markup(answer: Any) -> Markup:
    return parsed(answer.content)


def test_no_page_has_inline_style_or_script(markup: Markup) -> None:
    assert not markup.all("style")
    for script in markup.all("script"):
        assert script.attributes["src"].startswith("/static/")
        assert not script.text.strip()
    for element in markup.elements:
        assert "style" not in element.attributes, element
        assert not [name for name in element.attributes if name.startswith("on")], element
        assert not element.attributes.get("href", "").startswith("javascript:"), element


def test_every_page_forbids_what_it_does_not_use(answer: Any) -> None:
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_no_page_loads_anything_from_elsewhere(markup: Markup) -> None:
    for element in markup.elements:
        for name in ("src", "href", "action"):
            assert not re.match(r"(?:[a-z]+:)?//", element.attributes.get(name, "")), element


def test_every_page_has_a_language_a_title_one_first_heading_and_a_way_past_the_frame(markup: Markup) -> None:
    assert markup.all("html")[0].attributes["lang"] == "en"
    assert words(markup.all("title")[0].text).endswith("· fleetcare")
    assert len(markup.all("h1")) == 1
    assert words(markup.all("h1")[0].text)
    skip = markup.all("a")[0]
    assert skip.attributes["href"] == "#" + markup.all("main")[0].attributes["id"]


def test_headings_go_down_one_level_at_a_time(markup: Markup) -> None:
    levels = [int(element.tag[1]) for element in markup.elements if re.fullmatch("h[1-6]", element.tag)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels)), levels


def test_every_field_has_a_label_and_every_link_and_button_a_name(markup: Markup) -> None:
    labelled = {label.attributes["for"] for label in markup.all("label")}
    for field in markup.all("input"):
        if field.attributes.get("type") != "hidden":
            assert field.attributes["id"] in labelled
    for element in [*markup.all("a"), *markup.all("button"), *markup.all("summary")]:
        assert words(element.text), element


def test_every_id_is_there_once_and_every_reference_leads_to_one(markup: Markup) -> None:
    ids = [element.attributes["id"] for element in markup.elements if "id" in element.attributes]
    assert len(ids) == len(set(ids))
    for element in markup.elements:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set(element.attributes.get(name, "").split()) <= set(ids), element
        target = element.attributes.get("href", "")
        assert not target.startswith("#") or target[1:] in ids, element


def test_every_grade_is_told_by_a_word_beside_its_mark(markup: Markup) -> None:
    for grade in markup.of_class("grade"):
        assert words(grade.text) in {"sound", "minor", "major", "dangerous", "not examined"}


def test_no_page_shows_a_value_of_the_program(answer: Any) -> None:
    assert raw_values(answer.content.decode()) == []


def test_pictures_are_no_obstacle_for_a_screen_reader(markup: Markup) -> None:
    assert all(picture.attributes.get("aria-hidden") == "true" for picture in markup.all("svg"))


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_every_word_of_a_template_is_marked_for_translation(template: Path) -> None:
    text, inside = [], False
    for token in Lexer(template.read_text()).tokenize():
        if token.token_type == TokenType.BLOCK and token.contents.split()[0].endswith("blocktranslate"):
            inside = not token.contents.startswith("end")
        elif token.token_type == TokenType.TEXT and not inside:
            text.append(token.contents)
        else:
            text.append("\x00")
    whole = "".join(text)
    said = re.findall(r'(?:aria-label|title|placeholder|alt)="([^"\x00]+)"', whole)
    said += re.findall(r"[^\W\d_]{2,}", re.sub(r"<[^>]*>", " ", whole))
    # Each language is named in its own words, for whoever cannot read the page.
    assert set(said) <= {"fleetcare", "English", "Deutsch"}


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_reckons(template: Path) -> None:
    assert not re.search(r"\|(?:add|divisibleby|floatformat|date|widthratio)\b|widthratio", template.read_text())


# --- Colours: the formula of WCAG 2.2 (relative luminance, contrast ratio), held against its published values ---------


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [("#000000", 21.0), ("#777777", 4.4781), ("#767676", 4.5422), ("#949494", 3.0335), ("#595959", 7.0047)],
)
def test_the_contrast_formula_gives_the_known_values_on_white(colour: str, ratio: float) -> None:
    # Computed from the formula of WCAG 2.2 by an outside script (status C).
    assert contrast(colour, "#fff") == pytest.approx(ratio, abs=5e-5)


def tokens(scheme: str) -> dict[str, str]:
    """The colours of a scheme: those of the light one, overridden by those of the dark or the printed one."""
    light, dark_and_later = STYLE.read_text().split("@media (prefers-color-scheme: dark)", 1)
    dark, later = dark_and_later.split("/* --- Ground", 1)
    sources = {"light": [light], "dark": [light, dark], "print": [light, later.split("@media print", 1)[1]]}
    found: dict[str, str] = {}
    for source in sources[scheme]:
        found |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", source))
    return found


TEXT_PAIRS = [
    ("ink", "sheet"), ("ink", "bench"), ("ink", "tint"), ("ink-soft", "sheet"), ("ink-soft", "bench"),
    ("print", "sheet"), ("print", "bench"), ("sheet", "print"), ("entry", "sheet"), ("danger", "sheet"),
    ("minor", "minor-fill"), ("major", "major-fill"), ("on-danger", "danger-fill"), ("on-banner", "banner-fill"),
]  # fmt: skip
MARK_PAIRS = [
    ("sound", "sheet"), ("minor-edge", "sheet"), ("major-edge", "sheet"), ("danger-fill", "sheet"), ("focus", "sheet"),
    ("focus", "bench"), ("print", "sheet"),
]  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_reaches_the_contrast_of_level_aa(scheme: str, text: str, ground: str) -> None:
    colours = tokens(scheme)
    assert contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(("mark", "ground"), MARK_PAIRS)
def test_marks_and_edges_reach_the_contrast_of_things_that_are_no_text(scheme: str, mark: str, ground: str) -> None:
    colours = tokens(scheme)
    assert contrast(colours[mark], colours[ground]) >= 3.0


def test_the_style_has_no_address_outside_and_no_physical_sides() -> None:
    style = STYLE.read_text()
    assert "url(" not in style
    assert "@import" not in style
    sides = re.findall(r"(?:margin|padding|border|inset)-(?:left|right|top|bottom)|text-align: (?:left|right)", style)
    assert not sides
