"""What is due, in the reader's language: the frame translated, the name in it left as the catalogue tells it."""

from datetime import date

import pytest
from django.utils import translation

from inspections.catalogue.loader import default_catalogue
from inspections.services.assessment import current_condition
from scheduling.models import DueItem
from scheduling.services.due.titles import TITLES, parted
from scheduling.services.letters import naming
from scheduling.services.letters.naming import told_danger, told_kind, told_what
from scheduling.words import DueKind
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.reminders.given import contact, daily, due_item, tell

GERMAN = [
    ("look-again", "Look again: Wheels", "Wieder nachsehen: Wheels"),
    ("wear-limit", "Belt: at the limit", "Belt: an der Verschleißgrenze"),
    ("wear-limit", "Look again: at the limit", "Look again: an der Verschleißgrenze"),
    ("deferred-job", "Put off until now: Grease the hinges", "Bis jetzt aufgeschoben: Grease the hinges"),
    (
        "warranty",
        "Warranty ends, a defect found before is the supplier's: Pump",
        "Gewährleistung endet, ein vorher gefundener Mangel ist Sache des Lieferanten: Pump",
    ),
    # Titles that somebody gave stay as they are.
    ("warranty", "Rust warranty", "Rust warranty"),
    ("service", "Oil: at the limit", "Oil: at the limit"),
    ("wear-limit", ": at the limit", ": at the limit"),
]


@pytest.mark.parametrize(("kind", "english", "german"), GERMAN)
def test_the_frame_is_told_in_the_readers_language(
    kind: str, english: str, german: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(naming, "catalogue_words", str)
    item = DueItem(kind=kind, what=english)
    assert told_what(item) == english
    with translation.override("de"):
        assert told_what(item) == german


@pytest.mark.parametrize("name", ["Belt", "100 % rubber: at the limit of wear", "Look again", "{name}", "%s"])
def test_every_frame_gives_its_name_back(name: str) -> None:
    for kind, frame in TITLES.items():
        assert parted(kind, frame.replace("{name}", name)) == (frame, name)


def test_the_kind_is_told_where_the_title_does_not_say_it() -> None:
    told = {kind: told_kind(DueItem(kind=kind, what="Anything")) for kind in DueKind.values}
    assert all(told.values())
    assert told_kind(DueItem(kind=DueKind.LOOK_AGAIN, what="Look again: Wheels")) == ""
    with translation.override("de"):
        german = {kind: told_kind(DueItem(kind=kind, what="Anything")) for kind in DueKind.values}
    assert german["insurance"] == "Versicherung"
    assert not set(german.values()) & set(told.values())


def test_names_of_the_catalogue_go_through_one_function(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(naming, "catalogue_words", str.upper)
    assert told_what(DueItem(kind=DueKind.WEAR_LIMIT, what="Belt: at the limit")) == "BELT: at the limit"
    assert told_what(DueItem(kind=DueKind.FOLLOW_UP, what="Wheel alignment")) == "WHEEL ALIGNMENT"


@pytest.mark.django_db
def test_why_a_vehicle_must_stand_is_told_in_german(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(naming, "catalogue_words", str)
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="dangerous"))
    (danger,) = current_condition(cast.access, cast.vehicle)["dangers"]
    part = default_catalogue().parts["front-brake-pads"]
    assert told_danger(danger) == danger["why"]
    with translation.override("de"):
        said = told_danger(danger)
    assert said == f"{part.title}: als gefährlich gesehen. Wenn es versagt: {part.failure.what}"


@pytest.mark.django_db
def test_a_german_reader_gets_it_in_german(cast: Cast) -> None:
    daily(cast, rhythm="never")
    contact(cast, cast.vehicle, language="de")
    due_item(cast.vehicle, date.today(), safety=True, what="Belt: at the limit", kind="wear-limit")  # noqa: DTZ011
    due_item(cast.vehicle, date.today(), safety=True, what="Cover", kind="insurance")  # noqa: DTZ011
    from scheduling.models import ReminderChoice
    from scheduling.services.notices import welcome_readers

    welcome_readers()
    ReminderChoice.objects.within(cast.fleet).update(quiet_from_hour=0, quiet_to_hour=0)
    german = next(mail for mail in tell() if mail.to == ["Driver <driver@else.example>"])
    assert "an der Verschleißgrenze" in german.body
    assert "Cover (Versicherung)" in german.body
