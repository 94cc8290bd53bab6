"""The report as a tagged PDF (PDF/UA-1), set by Typst in memory of its own folder; nothing is fetched from anywhere."""

from __future__ import annotations

import dataclasses
import io
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import orjson
from django.utils.translation import get_language, get_language_bidi, gettext

from fleetcare.portal.reports.characters import NO_GLYPH, fit_for_paper, glyphs_of, mapped, with_known_glyphs
from fleetcare.portal.reports.labels import labels
from fleetcare.portal.reports.papers import PAPERS
from fleetcare.support import stored_files

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleetcare.portal.reports.condition import PhotoShown, Report

Json = dict[str, Any]

_LAYOUT = Path(__file__).parent / "typst"
_FONTS = _LAYOUT / "fonts"
_REGULAR = _FONTS / "DejaVuSansCondensed.ttf"
_NO_GLYPH = "could not be displayed"
_NO_WORDS = frozenset({"svg", "qr", "path", "address"})


def condition_pdf(report: Report, *, paper: str, address: str) -> bytes:
    """The report on `paper` ("a4" or "letter"; else KeyError), with a code that leads to `address`."""
    with tempfile.TemporaryDirectory(prefix="fleetcare-report-") as folder:
        body = _body(report, PAPERS[paper], address, Path(folder))
        shutil.copy(_LAYOUT / "condition.typ", folder)
        return _set(Path(folder), body)


def _set(folder: Path, body: Json) -> bytes:
    """Sets the report; characters that no font here draws become boxes, since PDF/UA-1 takes no missing glyph."""
    import typst

    try:
        return _compiled(folder, body)
    except typst.TypstError as error:
        if _NO_GLYPH not in error.message:
            raise
    known = glyphs_of(_REGULAR)
    return _compiled(folder, _changed(body, lambda text: with_known_glyphs(text, known)))


def _compiled(folder: Path, body: Json) -> bytes:
    import typst

    (folder / "data.json").write_bytes(orjson.dumps(body, default=str))
    # The root keeps the layout from reading anything but what was put beside it.
    compiler = typst.Compiler(str(folder / "condition.typ"), root=str(folder), font_paths=_fonts())
    made = compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=0)
    if not isinstance(made, bytes):
        raise TypeError("one PDF was asked for")
    return made


@lru_cache(maxsize=1)
def _fonts() -> Any:
    """Our own font first; fonts of the machine only for letters that it lacks."""
    import typst

    return typst.Fonts(include_system_fonts=True, include_embedded_fonts=False, font_paths=[str(_FONTS)])


def _body(report: Report, paper: str, address: str, folder: Path) -> Json:
    """What the layout is given: the report as plain values, its pictures as files beside it."""
    condition = report.condition
    language, _, region = (get_language() or "en").partition("-")
    body: Json = dataclasses.asdict(report)
    body |= {
        "title": gettext("Condition report") + f": {report.vehicle.name}",
        "labels": labels(),
        "made_on": str(report.made_on),
        "language": language,
        "region": region.upper() if len(region) == 2 else None,
        "right_to_left": get_language_bidi(),
        "paper": paper,
        "address": address,
        "qr": qr_svg(address),
        "pictures": [*_with_files(report.pictures, folder)],
        "findings": [_finding(each, folder) for each in report.findings],
        "jobs": body["first_jobs"],
    }
    if condition.examined:
        body |= _score_sentences(report)
    cleaned: Json = _changed(body, fit_for_paper)
    # A heading without a letter is no heading.
    cleaned["vehicle"]["name"] = cleaned["vehicle"]["name"].strip() or NO_GLYPH
    return cleaned


def _changed(body: Any, change: Any) -> Any:
    """The body with its texts changed; drawings, names of files and addresses are no words."""
    if isinstance(body, dict):
        return {key: value if key in _NO_WORDS else _changed(value, change) for key, value in body.items()}
    if isinstance(body, list | tuple):
        return [_changed(each, change) for each in body]
    return mapped(body, change)


def _finding(each: Any, folder: Path) -> Json:
    finding = each.finding
    dates = [gettext("seen %(day)s") % {"day": finding.seen_on}]
    if finding.opened_on:
        dates.append(gettext("open since %(day)s") % {"day": finding.opened_on})
    if finding.deferred_until:
        told = {"day": finding.deferred_until, "because": finding.deferred_because}
        dates.append(gettext("put off until %(day)s: %(because)s") % told)
    return {
        "finding": dataclasses.asdict(finding),
        "dates": " · ".join(dates),
        "photos": [*_with_files(each.photos, folder)],
    }


def _with_files(photos: tuple[PhotoShown, ...], folder: Path) -> Iterator[Json]:
    """Photos whose small copies were put beside the layout; one whose file is gone is left out."""
    for photo in photos:
        name = f"{photo.id}.jpg"
        try:
            (folder / name).write_bytes(stored_files.content_of(photo.file))
        except FileNotFoundError:
            continue
        yield {"path": name, "what": photo.what, "note": photo.note}


def _score_sentences(report: Report) -> Json:
    condition, score = report.condition, report.condition.score
    between = {"low": score.low, "high": score.high, "level": condition.level}
    return {
        "score_between": gettext("Between %(low)s and %(high)s, with %(level)s confidence.") % between,
        "score_rests_on": gettext("Rests on a recent look at %(share)s of the vehicle.") % {"share": score.coverage},
        "next_year": gettext("The next twelve months are expected to cost %(amount)s.")
        % {"amount": condition.next_year_cost},
    }


def qr_svg(address: str) -> str:
    """A code (ISO/IEC 18004) for an address as SVG text."""
    import segno

    written = io.BytesIO()
    segno.make(address, error="m", micro=False).save(written, kind="svg", border=2, xmldecl=False, dark="#16201d")
    return written.getvalue().decode("utf-8")
