"""The catalogue in German: complete, the same keys and figures, other words."""

import re
from pathlib import Path

import pytest

from inspections.catalogue.faults import Fault
from inspections.catalogue.loader import DATA, default_catalogue
from inspections.catalogue.translated import LANGUAGES, catalogue_in, text_in
from inspections.catalogue.translated_files import read_words


@pytest.mark.parametrize("language", LANGUAGES)
def test_everything_that_is_told_is_translated_and_the_figures_stay(language: str) -> None:
    """Loading compares every key with the original and refuses what is missing or strange."""
    english, other = default_catalogue(), catalogue_in(language)
    assert other.slots == english.slots
    assert list(other.checks) == list(english.checks)
    assert [entry.check.minutes for entry in other.checks.values()] == [
        entry.check.minutes for entry in english.checks.values()
    ]
    assert [entry.job.hours for entry in other.jobs.values()] == [entry.job.hours for entry in english.jobs.values()]
    same = [key for key, part in other.parts.items() if part.title == english.parts[key].title]
    assert len(same) < len(english.parts) / 20, "a name may be alike (thermostat), not many"
    for key, caution in other.cautions.items():
        assert caution.text != english.cautions[key].text


@pytest.mark.parametrize("language", LANGUAGES)
def test_figures_in_a_method_are_those_of_the_original(language: str) -> None:
    """A number that got lost on the way to another language would send somebody under a car with a wrong one."""
    english, other = default_catalogue(), catalogue_in(language)
    lost = []
    for key, entry in english.checks.items():
        wanted = re.findall(r"\d+", entry.check.method)
        told = re.findall(r"\d+", other.checks[key].check.method)
        if sorted(wanted) != sorted(told):
            lost.append((key, wanted, told))
    assert lost == []


def test_a_language_without_words_is_english_and_regions_share_a_translation() -> None:
    assert catalogue_in("fr") is default_catalogue()
    assert catalogue_in("de-at") is catalogue_in("de")
    assert text_in("de", "Brake hose") == "Bremsschlauch"
    assert text_in("de", "a word of nobody's") is None


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    faults: list[Fault] = []
    read_words(tmp_path, ("brakes",), faults)
    assert "brakes.toml: the file is missing" in [str(fault) for fault in faults]
    (tmp_path / "brakes.toml").write_bytes((DATA / "de" / "brakes.toml").read_bytes() + b"\n[parts.x]\ntitle = 'x'\n")
    faults = []
    read_words(tmp_path, ("brakes",), faults)
    assert any(fault.file == "brakes.toml" and "failure" in fault.message for fault in faults)
