"""Every page for who reads it otherwise: narrow, zoomed, in longer words, in forced colours, by keyboard, on paper."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.utils.translation import trans_real

from fleetcare.fleet.models import User
from fleetcare.fleet.words import Role
from tests.browser.conftest import Visit
from tests.conftest import Cast, make_cast
from tests.fleetcare.portal.every_page import STRANGERS, furnished

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.timeout(400),
    pytest.mark.django_db(transaction=True),
]

PASSWORD = "axle stands first"
NARROW_PX = 320
LONGER = 1.4
TARGET_PX = 44
SMALLEST_PX = 24
"""What WCAG 2.2 asks of every target; links within sentences are as high as their line."""
SMALL_TARGETS = """
() => [...document.querySelectorAll(
    "a[href], button, select, summary, input:not([type=hidden]):not(.unseen), label.pick")]
  .filter(each => each.checkVisibility() && !each.closest(".unseen, .skip, p, td small"))
  .map(each => { const label = each.matches("input[type=checkbox], input[type=radio]") && each.labels[0] || each;
                 const box = label.getBoundingClientRect();
                 return [Math.round(box.height), (each.textContent || each.name || "").trim().slice(0, 40)]; })
  .filter(([height, text]) => height > 0 && height < %d)
  .map(([height, text]) => `${height} px: ${text}`)
"""

STICKING_OUT = """
() => [...document.querySelectorAll("main *, header *, footer *")]
  .filter(each => each.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .filter(each => !each.closest(".desk-scroll, .unseen"))
  .slice(0, 6).map(each => `${each.tagName}.${each.getAttribute("class") || ""} in ${each.parentElement.className}`)
"""


@pytest.fixture
def home(live_server: Any) -> tuple[Cast, dict[str, str]]:
    """A household with something on every page, and the addresses of all pages."""
    cast = make_cast("Home")
    cast.vehicle.make, cast.vehicle.model = "Qz", "Kx9"
    cast.vehicle.save(update_fields=["make", "model"])
    owner = cast.members[Role.OWNER]
    owner.set_password(PASSWORD)
    owner.save(update_fields=["password"])
    return cast, furnished(cast)


@pytest.fixture
def longer_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every German string 40 % longer, as other languages may be."""
    book = trans_real.translation("de")

    def stretched(text: str) -> str:
        plain = re.sub(r"%\(\w+\)[sd]|\{\w+\}|<[^>]*>|%%", "", text)
        return f"{text} {'mmmmmmm ' * round(len(plain) * (LONGER - 1) / 8)}".rstrip() if len(plain) > 3 else text

    for name in ("gettext", "ngettext"):
        plain = getattr(book, name)
        monkeypatch.setattr(book, name, lambda *args, plain=plain: stretched(plain(*args)))


def signed_in(seen: Visit, server: str) -> None:
    """As a person does it."""
    seen.page.goto(f"{server}/sign-in/")
    seen.page.locator("input[name=login]").fill("owner@home.example")
    seen.page.locator("input[name=password]").fill(PASSWORD)
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**/fleets/**")


def sideways(seen: Visit, server: str, addresses: dict[str, str]) -> dict[str, str]:
    """Pages that can be scrolled sideways: how far, and what sticks out."""
    found = {}
    for name, address in addresses.items():
        seen.page.goto(f"{server}{address}")
        if seen.sideways_px > 0:
            found[name] = f"{seen.sideways_px} px: {seen.page.evaluate(STICKING_OUT)}"
    return found


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_page_scrolls_sideways_at_320_px(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit], language: str
) -> None:
    """320 px is also what a 1280 px wide window shows at 400 % zoom (WCAG 1.4.10)."""
    _cast, addresses = home
    User.objects.update(language=language)
    seen = visit(NARROW_PX, "light", locale=language)
    signed_in(seen, live_server.url)
    assert sideways(seen, live_server.url, addresses) == {}


def test_no_page_scrolls_sideways_at_320_px_in_words_40_percent_longer(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit], longer_words: None
) -> None:
    """Room for languages that need more of it than German."""
    _cast, addresses = home
    User.objects.update(language="de")
    seen = visit(NARROW_PX, "light", locale="de-DE")
    signed_in(seen, live_server.url)
    assert sideways(seen, live_server.url, addresses) == {}


def test_every_target_is_big_enough_for_an_oily_finger(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit]
) -> None:
    _cast, addresses = home
    seen = visit(390, "light")
    signed_in(seen, live_server.url)
    small = {}
    for name, address in addresses.items():
        seen.page.goto(f"{live_server.url}{address}")
        found = seen.page.evaluate(SMALL_TARGETS % SMALLEST_PX)
        if name.startswith("walk"):
            found = seen.page.evaluate(SMALL_TARGETS % TARGET_PX)
        if found:
            small[name] = found[:5]
    assert small == {}


def test_the_main_flow_works_by_keyboard_alone(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit]
) -> None:
    """Past the frame, through a station: a grade, saved, the next check in view and in focus, nothing trapped."""
    _cast, addresses = home
    seen = visit(1280, "light")
    signed_in(seen, live_server.url)
    seen.page.goto(f"{live_server.url}{addresses['walk-station']}?layout=list")
    seen.page.keyboard.press("Tab")
    assert seen.page.evaluate("document.activeElement.className") == "skip"
    seen.page.keyboard.press("Enter")
    assert seen.page.evaluate("document.activeElement.id") == "main"
    reached = []
    for _ in range(60):
        seen.page.keyboard.press("Tab")
        reached.append(seen.page.evaluate("document.activeElement.name || ''"))
        if reached[-1] == "grade":
            break
    assert reached[-1] == "grade"
    outline = seen.page.evaluate(
        "(() => { const face = document.activeElement.nextElementSibling, look = getComputedStyle(face);"
        " return look.outlineStyle !== 'none' || getComputedStyle(document.activeElement).outlineStyle !== 'none'; })()"
    )
    assert outline, "whoever goes by keyboard sees where they are"
    seen.page.keyboard.press("Space")
    assert seen.page.evaluate("document.activeElement.checked")


def test_marks_and_borders_stay_in_forced_colours(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit]
) -> None:
    """Grades are told by word and mark; neither may vanish where the system takes over the colours."""
    _cast, addresses = home
    seen = visit(390, "dark", forced_colors="active")
    signed_in(seen, live_server.url)
    seen.page.goto(f"{live_server.url}{addresses['vehicle']}")
    assert seen.page.evaluate("matchMedia('(forced-colors: active)').matches")
    grades = seen.page.locator(".grade")
    assert grades.count() > 0
    assert all(text.strip() for text in grades.all_inner_texts())
    seen.page.goto(f"{live_server.url}{addresses['walk-station']}?layout=list")
    stroke = "getComputedStyle(document.querySelector('.pick .mark')).stroke"
    assert seen.page.evaluate(stroke) not in {
        "none",
        seen.page.evaluate("getComputedStyle(document.body).backgroundColor"),
    }


def test_pages_print_without_the_frame(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit]
) -> None:
    _cast, addresses = home
    seen = visit(1280, "light")
    signed_in(seen, live_server.url)
    for name in ("vehicle", "report", "inspection", "kit", "estimate"):
        seen.page.goto(f"{live_server.url}{addresses[name]}")
        seen.page.emulate_media(media="print")
        shown = [part for part in (".account", ".trail", ".languages") if seen.page.locator(f"{part}:visible").count()]
        assert shown == [], name
        assert seen.page.pdf(format="A4").startswith(b"%PDF")
        seen.page.emulate_media(media="screen")


def test_strangers_pages_offer_both_languages_without_javascript(
    home: tuple[Cast, dict[str, str]], live_server: Any, visit: Callable[..., Visit]
) -> None:
    _cast, addresses = home
    seen = visit(390, "light", java_script_enabled=False, locale="en-GB")
    for name in sorted(STRANGERS - {"offline"}):
        seen.page.goto(f"{live_server.url}{addresses[name]}")
        seen.page.get_by_role("link", name="Deutsch").click()
        assert seen.page.locator("html").get_attribute("lang") == "de", name
        seen.page.get_by_role("link", name="English").click()
        assert seen.page.locator("html").get_attribute("lang") == "en", name
