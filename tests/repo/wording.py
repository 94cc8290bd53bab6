"""Marked strings and told sentences, gathered from the sources and written into the catalogues of every language.

`make words` adds what is new (untranslated), drops what is gone and compiles. It needs Python only, no gettext tools.
"""

import ast
import io
import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import mofile, pofile
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from django.utils.translation.template import templatize

ROOT = Path(__file__).parents[2]
TOPS = ("fleetcare", "inspections", "scheduling")
LANGUAGES = ("de",)
PAGES = ROOT / "fleetcare" / "portal" / "locale"
TOLD = ROOT / "fleetcare" / "support" / "locale"
MAIL = "mail"
"""The context of the mails' words, which have a catalogue of their own in scheduling/locale."""
KEYWORDS = {
    "_": None, "gettext": None, "gettext_lazy": None, "gettext_noop": None,
    "ngettext": (1, 2), "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2), "pgettext_lazy": ((1, "c"), 2), "npgettext": ((1, "c"), 2, 3),
}  # fmt: skip

SPEAKING = re.compile(
    r"fleetcare/(kernel/(errors|vin)|support/(problems|strict|pages|versions|idempotency|json|outbound|stored_files)"
    r"|fleet/(access|traits|authentication|api/(inputs|vehicles)|services/.*)"
    r"|portal/(api/(exchange|report)|exchange/.*|reports/links))\.py"
    r"|inspections/(api/(inputs|vehicle|photos|judgement|shapes)|services/.*|catalogue/(grading|traits))\.py"
    r"|scheduling/(api/\w*(inputs|parameters)|services/.*|core/(reasons|plan_changes|backlog))\.py"
)
"""Modules whose sentences people read: refusals and reasons."""
PHRASES = re.compile(
    r"scheduling/core/(reasons|plan_changes)\.py"
    r"|scheduling/services/(backlog_changes|options|looks_to_come|asked_looks)\.py"
    r"|scheduling/services/(plans/(reading|telling|asking|changes)|keep_or_replace/.*|due/titles)\.py"
    r"|inspections/services/(assessment|condition_documents|checking)\.py|inspections/api/shapes\.py|inspections/core/(lives|trouble_codes)\.py"
    r"|fleetcare/(kernel/errors|support/problems)\.py"
)
"""Modules that also say what is no whole sentence: reasons within a sentence, titles."""
NOT_TOLD = re.compile(
    r"[a-z_]+=|[A-Z_]+ [A-Z]|.*(SELECT|COALESCE|julianday|SET LOCAL| IN \(|attachment;|filename|Bearer|charset|"
    r"default-src|private, no-cache|<\{0\}>|no-store)|.*[\n]|-//"
)
"""SQL, headers and the like."""
LEAST_LETTERS = 4
SINGLE_WORDS = (
    "sound", "minor", "major", "dangerous", "not examined", "none", "nothing",
    "front left", "front right", "rear left", "rear right", "front", "rear", "left", "right",
    "front-left", "front-right", "rear-left", "rear-right", "every month",
    "open", "planned", "in-work", "done", "declined", "deferred", "draft", "sent", "answered", "withdrawn", "expired",
    "viewer", "inspector", "planner", "owner", "no", "one", "two", "three", "four", "five", "six", "seven", "eight",
    "nine", "ten", "eleven", "twelve", "common practice, no source", "common practice, see the maker's book",
    "licence", "years", "clicks", "mg/stroke", "g/s per l", "{0} in 10", "1 in {0}",
    "{0} was found {1}", "{0} is now {1}", "{0} was seen better, {1}", "{0} was seen sound",
    "{0} was no defect after all", "{0} was put right", "{0} was found {1}: {2}", "{0} is now {1}: {2}",
    "{0} was seen better, {1}: {2}", "{0} was seen sound: {1}", "{0} was no defect after all: {1}",
    "seen {0} {1} km of wear ago", "seen {0} just now", "{0} of {1}", "{0} on {1}", "{0} and {1}", "{0} ({1})",
)  # fmt: skip
"""What fills the sentences (grades, places, states, roles, small numbers), and sentences that are put together."""


def sources(suffixes: Iterable[str]) -> Iterator[Path]:
    """Files of the product, in a fixed order."""
    for top in TOPS:
        yield from sorted(path for path in (ROOT / top).rglob("*") if path.suffix in set(suffixes))


Marked = tuple[str, tuple[str, ...]]
"""A context (or nothing) and an id, with its plural where there is one."""


def marked() -> dict[Marked, list[str]]:
    """Every string of the pages that is marked to be translated, with where it stands."""
    found: dict[Marked, list[str]] = {}
    for path in sources((".py", ".html", ".txt")):
        if path.suffix != ".py" and "templates" not in path.parts:
            continue
        text = path.read_text(encoding="utf-8")
        code = text if path.suffix == ".py" else _flat(templatize(text, origin=str(path)))
        for line, ids, _comments, context in extract("python", io.BytesIO(code.encode()), KEYWORDS, (), {}):
            if context != MAIL and path.relative_to(ROOT).parts[0] != "scheduling":
                told = (ids,) if isinstance(ids, str) else tuple(each for each in ids if each)
                found.setdefault((context or "", told), []).append(f"{path.relative_to(ROOT)}:{line}")
    return found


def _flat(code: str) -> str:
    """Without the templates' indentation, which is none of Python's."""
    return "\n".join(line.strip() for line in code.splitlines())


def spoken() -> dict[str, list[str]]:
    """Every sentence that services say, holes numbered, with where it stands."""
    found: dict[str, list[str]] = {word: [] for word in SINGLE_WORDS}
    for path in sources((".py",)):
        name = str(path.relative_to(ROOT))
        if SPEAKING.fullmatch(name) or PHRASES.fullmatch(name):
            for line, text in _texts(path):
                if _is_told(text, phrases=bool(PHRASES.fullmatch(name))):
                    found.setdefault(text, []).append(f"{name}:{line}")
    return found


def _is_told(text: str, *, phrases: bool) -> bool:
    letters = len(re.sub(r"\{\d\}|[^A-Za-z]", "", text))
    if letters < LEAST_LETTERS or " " not in text.strip() or NOT_TOLD.match(text):
        return False
    return phrases or bool(re.match(r"[A-Z“\"{]", text) and text[-1] in ".!?")


def _texts(path: Path) -> Iterator[tuple[int, str]]:
    """String literals outside docstrings, logs and fields' descriptions; f-strings with numbered holes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    left_out: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            left_out.add(node.value)
        if isinstance(node, ast.JoinedStr):
            left_out.update(each for each in ast.walk(node) if isinstance(each, ast.Constant))
        if isinstance(node, ast.Call) and _silent(node.func):
            left_out.update(ast.walk(node))
        if isinstance(node, ast.keyword) and node.arg in {"help_text", "description", "summary"}:
            left_out.update(ast.walk(node))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant | ast.JoinedStr) and node not in left_out:
            text = _template(node)
            if text:
                yield node.lineno, text


def _silent(called: ast.expr) -> bool:
    name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
    return name in {*KEYWORDS, "info", "warning", "debug", "error", "exception", "extend_schema", "OpenApiParameter",
                    "OpenApiExample", "RuntimeError", "AssertionError", "TypeError", "execute"}  # fmt: skip


def _template(node: ast.Constant | ast.JoinedStr) -> str:
    if isinstance(node, ast.Constant):
        text = node.value if isinstance(node.value, str) else ""
        # Templates filled by .format(**facts) have named holes.
        names = list(dict.fromkeys(re.findall(r"\{(\w+)\}", text)))
        for number, name in enumerate(names):
            text = text.replace(f"{{{name}}}", f"{{{number}}}")
        return text
    holes = iter(range(10))
    return "".join(str(v.value) if isinstance(v, ast.Constant) else f"{{{next(holes)}}}" for v in node.values)


def catalogue(folder: Path, language: str, domain: str) -> Catalog:
    """A catalogue as it is committed."""
    with (folder / language / "LC_MESSAGES" / f"{domain}.po").open("rb") as file:
        return pofile.read_po(file)


def compiled(book: Catalog) -> bytes:
    """The same as programs read it."""
    written = io.BytesIO()
    mofile.write_mo(written, book)
    return written.getvalue()


def _renewed(folder: Path, language: str, domain: str, wanted: Iterable[Marked]) -> Catalog:
    path = folder / language / "LC_MESSAGES" / f"{domain}.po"
    old = catalogue(folder, language, domain) if path.exists() else Catalog(language)
    said = {(each.context or "", _ids(each)): each.string for each in old if each.id}
    day = datetime(2026, 11, 25, tzinfo=UTC)
    book = Catalog(language, project="fleetcare", version="1", creation_date=day, revision_date=day, fuzzy=False)
    for context, ids in sorted(wanted, key=lambda each: (each[1], each[0])):
        string = said.get((context, ids), ("",) * len(ids) if len(ids) > 1 else "")
        book.add(ids if len(ids) > 1 else ids[0], string, context=context or None)
    return book


def _ids(message: Message) -> tuple[str, ...]:
    return tuple(message.id) if isinstance(message.id, list | tuple) else (message.id,)


def renew(folder: Path, language: str, domain: str, wanted: Iterable[Marked]) -> int:
    """Writes and compiles a catalogue; answers how many of its strings are not translated."""
    book = _renewed(folder, language, domain, wanted)
    path = folder / language / "LC_MESSAGES" / f"{domain}.po"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        pofile.write_po(file, book, width=110, no_location=True)
    path.with_suffix(".mo").write_bytes(compiled(book))
    strings = [each.string for each in book if each.id]
    return sum(not all(each if isinstance(each, tuple | list) else (each,)) for each in strings)


def main() -> None:
    """Renews every catalogue and says what is left to do."""
    for language in LANGUAGES:
        for folder, domain, wanted in (
            (PAGES, "django", list(marked())),
            (TOLD, "told", [("", (text,)) for text in spoken()]),
        ):
            left = renew(folder, language, domain, wanted)
            print(f"{language} {domain}: {len(wanted)} strings, {left} not translated")


if __name__ == "__main__":
    main()
