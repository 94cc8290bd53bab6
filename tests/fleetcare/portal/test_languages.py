"""Every page in German: nothing on it reads as in English, all strings are there, compiled and whole."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from zoneinfo import available_timezones

import pytest
from babel.messages.catalog import Catalog
from django.db import transaction
from django.test import Client
from django.utils import translation

from fleetcare.fleet.models import Contact
from fleetcare.fleet.words import Role
from fleetcare.support.told import told
from tests.conftest import make_cast
from tests.fleetcare.portal.every_page import NO_PAGES, STRANGERS, furnished, route_names
from tests.repo import wording

HOLES = re.compile(r"%\(\w+\)[sd]|\{\w+\}|%%")
BOOKS = [(wording.PAGES, "django"), (wording.TOLD, "told")]
SPOKEN_ATTRIBUTES = {"aria-label", "alt", "title", "placeholder"}


def strings_of(book: Catalog) -> Iterator[tuple[tuple[str, ...], tuple[str, ...], bool]]:
    """Ids, strings and whether a translator left it open, of every message."""
    for each in book:
        if each.id:
            ids = tuple(each.id) if isinstance(each.id, list | tuple) else (each.id,)
            yield ids, tuple(each.string) if isinstance(each.string, list | tuple) else (each.string,), each.fuzzy


@pytest.mark.parametrize("language", wording.LANGUAGES)
def test_every_string_of_the_sources_is_translated_and_none_that_is_gone(language: str) -> None:
    pages = {
        (each.context or "", tuple(each.id) if isinstance(each.id, list | tuple) else (each.id,))
        for each in wording.catalogue(wording.PAGES, language, "django")
        if each.id
    }
    assert pages == set(wording.marked()), "run python -m tests.repo.wording and translate what is new"
    sentences = {ids[0] for ids, _strings, _ in strings_of(wording.catalogue(wording.TOLD, language, "told"))}
    assert sentences == set(wording.spoken()), "run python -m tests.repo.wording and translate what is new"


def test_nothing_is_marked_inside_a_formatted_string_where_no_tool_finds_it() -> None:
    hidden = re.compile(r"\{(?:_|n?p?gettext(?:_lazy)?)\(")
    found = [path.name for path in wording.sources((".py",)) if hidden.search(path.read_text(encoding="utf-8"))]
    assert found == []


@pytest.mark.parametrize("language", wording.LANGUAGES)
@pytest.mark.parametrize(("folder", "domain"), BOOKS, ids=["pages", "sentences"])
def test_every_translation_is_whole(language: str, folder: Any, domain: str) -> None:
    """Nothing empty or fuzzy, all plural forms, and what is filled in is filled in there too."""
    book = wording.catalogue(folder, language, domain)
    assert book.num_plurals == 2
    for ids, strings, fuzzy in strings_of(book):
        assert all(strings), ids
        assert not fuzzy, ids
        assert len(strings) == len(ids), ids
        for english, string in zip(ids, strings, strict=True):
            assert set(HOLES.findall(string)) == set(HOLES.findall(english)), ids


@pytest.mark.parametrize("language", wording.LANGUAGES)
@pytest.mark.parametrize(("folder", "domain"), BOOKS, ids=["pages", "sentences"])
def test_what_is_compiled_is_what_is_written(language: str, folder: Any, domain: str) -> None:
    compiled = (folder / language / "LC_MESSAGES" / f"{domain}.mo").read_bytes()
    assert compiled == wording.compiled(wording.catalogue(folder, language, domain))


def test_what_services_say_is_told_with_the_numbers_days_and_sums_of_the_reader() -> None:
    assert told("Brake hose: at the limit", "de") == "Bremsschlauch: an der Grenze"
    assert told("seen minor 1,200 km of wear ago", "de") == "vor 1.200 km Verschleiß als gering gesehen"
    said = "The odometer would run backwards: it showed 120,000 km on 2026-10-03."
    assert told(said, "de") == "Der Kilometerzähler liefe rückwärts: Er zeigte 120.000 km am 03.10.2026."
    money = "Keeping is cheaper: about 1234.50 EUR a year against 2000.00 EUR."
    assert told(money, "de") == "Behalten ist günstiger: etwa 1.234,50\xa0€ im Jahr gegen 2.000,00\xa0€."
    assert told(said, "en") == said
    assert told("Wash it, says Ada", "de") == "Wash it, says Ada"


@pytest.mark.django_db
class TestChoice:
    def test_a_stranger_reads_what_the_browser_says_or_what_they_asked_for(self) -> None:
        client = Client()
        assert '<html lang="de"' in client.get("/sign-in/", HTTP_ACCEPT_LANGUAGE="de-DE,de;q=0.9").content.decode()
        assert '<html lang="en"' in client.get("/sign-in/", HTTP_ACCEPT_LANGUAGE="fr").content.decode()
        asked = client.get("/sign-in/?language=de", HTTP_ACCEPT_LANGUAGE="en")
        assert '<html lang="de"' in asked.content.decode()
        assert asked.cookies["language"].value == "de"
        assert '<html lang="de"' in client.get("/sign-in/", HTTP_ACCEPT_LANGUAGE="en").content.decode()
        assert "language" not in Client().get("/sign-in/?language=xx").cookies

    def test_the_way_to_another_language_keeps_the_address(self) -> None:
        page = Client().get("/sign-in/?next=/account/").content.decode()
        assert "?next=/account/&amp;language=de" in page or "?next=%2Faccount%2F&amp;language=de" in page

    def test_the_api_speaks_english_to_everybody(self) -> None:
        cast = make_cast("Home")
        client = Client()
        client.force_login(cast.members[Role.OWNER])
        answer = client.get("/api/v1/fleets/nothing/", HTTP_ACCEPT_LANGUAGE="de")
        assert answer.json()["title"] == "Not found"
        wrong = client.post("/api/v1/fleets/", {}, content_type="application/json", HTTP_ACCEPT_LANGUAGE="de")
        assert "This field is required." in wrong.content.decode()


class Words(HTMLParser):
    """What a reader of a page reads or hears."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.silent = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in {"script", "style"}
        self.found |= {_one_line(value or "") for name, value in attrs if name in SPOKEN_ATTRIBUTES}
        self.found |= {
            _one_line(value or "")
            for name, value in attrs
            if name.startswith("data-") and re.search("[^/] [a-z]", str(value))
        }

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in {"script", "style"}

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.found.add(_one_line(data))


def _one_line(text: str) -> str:
    return " ".join(text.split())


SAME = re.compile(
    r"[·:]? ?(fleetcare|English|Deutsch|Home|Kx9|Qz|Person \d|\w+…$|\S+@|https?:|EUR|[A-Z]{1,4}\b[ 0-9]*$|\d"
    r"|(Name|System|Webhooks?|Passkeys?|Airbags?|Diesel|Thermostat|Filter|Export|Plan|Multimeter|Test)( · fleetcare)?$"
    r"|(% vol|bar|kPa|psi|language)$|PDF, |Torx|O-Ring|Station \d)"
)
"""Names and notes of the household, addresses, units, and words that both languages write alike."""
ALIKE = frozenset(name.replace("_", " ") for name in available_timezones())


@pytest.fixture(scope="module")
def pages(django_db_setup: Any, django_db_blocker: Any) -> Iterator[dict[str, tuple[Any, Any]]]:
    """Every page in English and in German."""
    with django_db_blocker.unblock(), transaction.atomic():
        cast = make_cast("Home")
        cast.vehicle.make, cast.vehicle.model = "Qz", "Kx9"
        cast.vehicle.save(update_fields=["make", "model"])
        places, owner, found = furnished(cast), cast.members[Role.OWNER], {}
        for name, address in places.items():
            answers = []
            for language in ("en", "de"):
                client = Client()
                if name not in STRANGERS:
                    # Previews of mails are in the language of who gets them.
                    type(owner).objects.update(language=language)
                    Contact.objects.within(cast.fleet).update(language=language)
                    client.force_login(owner)
                answers.append(client.get(address, HTTP_ACCEPT_LANGUAGE=language))
            found[name] = (answers[0], answers[1])
        yield found
        transaction.set_rollback(True)


@pytest.mark.slow
@pytest.mark.timeout(300)
class TestPages:
    def test_every_route_that_is_a_page_is_among_them(self, pages: dict[str, Any]) -> None:
        assert route_names() - NO_PAGES - set(pages) == set()
        # Who has one fleet is led to it from the list of fleets.
        answered = {name: both[0].status_code for name, both in pages.items()}
        assert {name: status for name, status in answered.items() if status != 200} == {"home": 302}

    def test_no_page_in_german_says_anything_as_the_english_one_does(self, pages: dict[str, Any]) -> None:
        unmarked = [
            f"{name}: {text}"
            for name, (english, german) in pages.items()
            for text in sorted(Words(english.content.decode()).found & Words(german.content.decode()).found)
            if re.search(r"[A-Za-z]{3}", text) and not SAME.match(text) and text not in ALIKE
        ]
        assert unmarked == []

    def test_numbers_days_and_money_are_written_as_the_reader_writes_them(self, pages: dict[str, Any]) -> None:
        german = pages["vehicle"][1].content.decode()
        assert re.search(r"\d{1,3}\.\d{3}\xa0?\s?km", german)
        assert re.search(r"\d{2}\.\d{2}\.20\d\d", german)
        assert "€" in german
        assert not re.search(r">\s*\d{1,3},\d{3}\s*km", german)


def test_german_figures_are_read_as_they_are_written() -> None:
    from fleetcare.portal.web.walk.forms import decimal_of, distance_of

    with translation.override("de"):
        assert str(decimal_of("3,5")) == "3.5"
        assert distance_of("187.450") == 187450
        assert str(distance_of("187450,5")) == "187450.5"
