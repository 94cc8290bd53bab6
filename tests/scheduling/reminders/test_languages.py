"""The words of mails, calendar and their pages are there in every language, complete and compiled."""

import io
import re
from pathlib import Path

import pytest
from babel.messages import mofile, pofile
from babel.messages.catalog import Catalog
from django.conf import settings

from scheduling.services.letters.readers import LANGUAGES

FOLDER = Path(settings.BASE_DIR) / "scheduling"
_PYTHON = re.compile(r'\bn?pgettext(?:_lazy)?\(\s*"(?:mail|kind of due item)",\s*"((?:[^"\\]|\\.)*)"')
_TEMPLATE = re.compile(r'{% translate "([^"]*)" context "mail" %}')


def said() -> set[str]:
    """Every sentence that the code marks to be translated."""
    python = [path.read_text(encoding="utf-8") for path in FOLDER.rglob("*.py")]
    templates = [path.read_text(encoding="utf-8") for path in (FOLDER / "templates").rglob("*.*")]
    found = {text for source in python for text in _PYTHON.findall(source)}
    return found | {text for source in templates for text in _TEMPLATE.findall(source)}


def catalogue(language: str) -> Catalog:
    path = FOLDER / "locale" / language / "LC_MESSAGES" / "django.po"
    with path.open("rb") as file:
        return pofile.read_po(file)


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_every_sentence_is_translated(language: str) -> None:
    known = {m.id[0] if isinstance(m.id, tuple) else m.id: m for m in catalogue(language) if m.id}
    assert len(said()) > 20
    assert said() <= set(known)
    for message in known.values():
        words = message.string if isinstance(message.string, tuple) else (message.string,)
        assert all(words), message.id
        assert not message.fuzzy
        # What is filled in must be filled in there too.
        holes = [set(re.findall(r"%\(\w+\)[sd]", text)) for text in (*words, *_ids(message.id))]
        assert all(each == holes[0] for each in holes), message.id


def _ids(message_id: str | tuple[str, ...]) -> tuple[str, ...]:
    return message_id if isinstance(message_id, tuple) else (message_id,)


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_what_is_compiled_is_what_is_written(language: str) -> None:
    """A bare machine has no gettext tools: the compiled file is committed."""
    fresh = io.BytesIO()
    mofile.write_mo(fresh, catalogue(language))
    compiled = FOLDER / "locale" / language / "LC_MESSAGES" / "django.mo"
    with compiled.open("rb") as file:
        committed = {
            (m.context, str(m.id)): tuple(m.string) if m.pluralizable else m.string
            for m in mofile.read_mo(file)
            if m.id
        }
    fresh.seek(0)
    assert committed == {
        (m.context, str(m.id)): tuple(m.string) if m.pluralizable else m.string for m in mofile.read_mo(fresh) if m.id
    }
