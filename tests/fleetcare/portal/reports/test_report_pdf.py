"""The report on paper: what must be said first is first, it is tagged, and nothing that people wrote is executed."""

import io
import zlib
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pypdf
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import translation

from fleetcare.fleet.selectors import vehicle_of
from fleetcare.portal.reports import pdf as pdfs
from fleetcare.portal.reports.characters import NO_GLYPH, fit_for_paper, glyphs_of, with_known_glyphs
from fleetcare.portal.reports.condition import Report, condition_report
from fleetcare.portal.reports.pdf import condition_pdf
from inspections.models import FittedPart
from tests.conftest import make_cast
from tests.fleetcare.portal.conftest import Household, make_household
from tests.inspections.given import PADS, inspect, result
from tests.inspections.photos.pictures import drawn, encoded, photo

ADDRESS = "https://fleet.example/fleets/1/vehicles/2/"
MM = 72 / 25.4


@dataclass(frozen=True)
class Told:
    """Reports read once: `blue` must not be driven and has a photo, `unknown` was never looked at."""

    blue: Report
    unknown: Report


@pytest.fixture(scope="module")
def reports(django_db_setup: Any, django_db_blocker: Any) -> Any:
    with django_db_blocker.unblock(), transaction.atomic():
        household = make_household(make_cast("Home"))
        access, data = household.cast.access, encoded(drawn(300, 200))
        photo(access, household.blue, data, inspection=household.inspection, note="left side")
        blue, unknown = (
            condition_report(access, vehicle_of(access, vehicle.pk)) for vehicle in (household.blue, household.unknown)
        )
        yield Told(blue, unknown)
        transaction.set_rollback(True)


def opened(report: Report, paper: str = "a4") -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(condition_pdf(report, paper=paper, address=ADDRESS)))


def told(reader: pypdf.PdfReader) -> str:
    """All the text, in the order of reading, without where lines and words were broken."""
    text = " ".join(page.extract_text() for page in reader.pages)
    return " ".join(text.replace("\u200b", "").split())


def test_a_vehicle_that_must_not_be_driven_says_so_before_anything_else(reports: Told) -> None:
    text = told(opened(reports.blue))
    head = text.index("Do not drive")
    assert head < text.index("The lining is gone") < text.index("Zephyr the blue one") < text.index("Open findings")
    assert "Do not drive" not in told(opened(reports.unknown))


def test_the_report_tells_everything_it_is_made_for(reports: Told) -> None:
    text = told(opened(reports.blue))
    for wanted in (
        "Verdict", "Cautions before anybody works on it", "Never go under a vehicle held by a jack alone",
        "Outer driveshaft boot, front right", "grease on the <wheel>", "0.4 mm", "(limit 3 mm)",
        "What was not examined", "3 of 301 parts", "Brake hose, front left: bolts seized", "Forecast",
        "Likeliest to fail within a year", "History", "How it was judged", "2014/45/EU", "An aid, no certificate",
        "HX BL 9",
    ):  # fmt: skip
        assert wanted in text, wanted


@pytest.mark.parametrize(("paper", "width", "height"), [("a4", 210 * MM, 297 * MM), ("letter", 612, 792)])
def test_it_comes_on_the_paper_asked_for(reports: Told, paper: str, width: float, height: float) -> None:
    for page in opened(reports.blue, paper).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((width, height), abs=0.5)


def test_it_is_tagged_titled_and_in_a_language_as_pdf_ua_wants_it(reports: Told) -> None:
    reader = opened(reports.blue)
    root = reader.trailer["/Root"]
    assert bool(root["/MarkInfo"]["/Marked"])
    assert root["/Lang"].startswith("en")
    assert bool(root["/ViewerPreferences"]["/DisplayDocTitle"])
    assert reader.metadata.title == "Condition report: Zephyr the blue one"
    assert "pdfuaid:part" in root["/Metadata"].get_object().get_data().decode()
    kinds, alternatives = structure(root["/StructTreeRoot"])
    assert {"/H1", "/H2", "/H3", "/Table", "/TH", "/TD", "/L", "/LI", "/Figure"} <= kinds
    assert any("left side" in each for each in alternatives)
    assert any("Front pad thickness" in each and "the limit is 3 mm" in each for each in alternatives)
    assert any(ADDRESS in each for each in alternatives)


def structure(root: Any) -> tuple[set[str], list[str]]:
    """The kinds of elements, and what pictures say instead of themselves."""
    kinds: set[str] = set()
    alternatives: list[str] = []
    waiting = [root]
    while waiting:
        node = waiting.pop().get_object()
        if isinstance(node, list):
            waiting.extend(node)
        elif isinstance(node, dict):
            if "/S" in node:
                kinds.add(str(node["/S"]))
            if node.get("/S") == "/Figure":
                alternatives.append(str(node.get("/Alt", "")))
                assert alternatives[-1], "a picture says nothing"
            if "/K" in node and node.get("/Type") != "/MCR":
                waiting.append(node["/K"])
    return kinds, alternatives


def test_a_photo_of_a_finding_is_in_the_file_and_one_whose_file_is_lost_is_no_reason_to_fail(reports: Told) -> None:
    assert pictures_in(reports.blue) == 1
    lost = [
        replace(each, photos=tuple(replace(p, file="photos/lost.jpg") for p in each.photos))
        for each in reports.blue.findings
    ]
    assert pictures_in(replace(reports.blue, findings=tuple(lost))) == 0


def pictures_in(report: Report) -> int:
    """Photos in the file; drawings are none."""
    return sum(len(page.images) for page in opened(report).pages)


HOSTILE = [
    '#read("/etc/passwd")',
    '#include "/etc/passwd"',
    "] #panic() [",
    "$ x^2 $ \\ \\u{41} *bold* _it_ `raw` @ref <label>",
    '"); #sys.inputs //',
    "= Heading\n- list\n+ list",
    "%(count)d {} {{ request }} {% load x %}",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_what_people_wrote_is_text_and_never_an_instruction(reports: Told, text: str) -> None:
    finding = reports.blue.findings[1]
    seen = replace(finding.finding.seen, note=text)
    written = replace(finding, finding=replace(finding.finding, seen=seen, title=text))
    vehicle = replace(reports.blue.vehicle, name=text, plate=text, model=text)
    reader = opened(replace(reports.blue, fleet=text, vehicle=vehicle, findings=(written,), disclaimer=text))
    assert told(reader).count(" ".join(text.split())) >= 6
    assert "root:" not in told(reader)


def test_a_layout_that_wants_to_read_the_machine_is_not_allowed_to(tmp_path: Path) -> None:
    import typst

    (tmp_path / "condition.typ").write_text('#read("/etc/passwd")', encoding="utf-8")
    with pytest.raises(typst.TypstError):
        pdfs._compiled(tmp_path, {})


@pytest.mark.parametrize(
    "name",
    [
        "W" * 80,
        "\u202egnp.exe",
        "مرحبا بالعالم",
        "שלום",
        "車検 2026",
        "a\0b\x07c",
        "😀🚗",
        "\ufffe\ud7ff",
        "e\u0301" * 40,
    ],
)
def test_long_foreign_and_odd_letters_neither_break_the_layout_nor_stop_the_report(reports: Told, name: str) -> None:
    report = reports.blue
    shown = replace(report, vehicle=replace(report.vehicle, name=name, plate=name[:20], note=name * 40), fleet=name * 5)
    reader = opened(shown)
    assert max(starts_of_text(reader)) < float(reader.pages[0].mediabox.width) - 16 * MM + 1
    assert "Verdict" in told(reader)


def starts_of_text(reader: pypdf.PdfReader) -> list[float]:
    """How far to the right each run of letters begins, in points."""
    found: list[float] = []

    def note(text: str, cm: Any, tm: Any, font: Any, size: float) -> None:
        if text.strip():
            found.append(tm[4] * cm[0] + tm[5] * cm[2] + cm[4])

    for page in reader.pages:
        page.extract_text(visitor_text=note)
    return found


def test_words_are_made_fit_for_paper() -> None:
    assert fit_for_paper("a\0b\x07c\td\u202ee\n") == "abc de "
    assert fit_for_paper("x" * 60).split("\u200b") == ["x" * 16, "x" * 16, "x" * 16, "x" * 12]
    assert fit_for_paper("W" * 12) == "W" * 10 + "\u200b" + "W" * 2
    assert fit_for_paper("short words stay as they are") == "short words stay as they are"
    assert with_known_glyphs("A車B", {65, 66}) == f"A{NO_GLYPH}B"


def test_the_font_draws_what_it_is_said_to() -> None:
    known = glyphs_of(pdfs._REGULAR)
    assert {ord(c) for c in "Aßéł–“”…€▯Ωж×−·≤"} <= known
    assert not {ord(c) for c in "車検กไ"} & known


def test_every_font_of_the_file_is_inside_it(reports: Told) -> None:
    fonts = {}
    for page in opened(reports.blue).pages:
        for font in page["/Resources"]["/Font"].values():
            for below in font.get_object()["/DescendantFonts"].get_object():
                descriptor = below.get_object()["/FontDescriptor"].get_object()
                fonts[descriptor["/FontName"]] = {"/FontFile2", "/FontFile3"} & set(descriptor)
    assert fonts
    assert all(fonts.values()), fonts
    assert all("DejaVu" in name for name in fonts)


def test_the_same_report_is_the_same_file(reports: Told) -> None:
    report = reports.blue
    first, second = (condition_pdf(report, paper="a4", address=ADDRESS) for _ in range(2))
    assert zlib.crc32(first) == zlib.crc32(second)


def test_the_code_leads_to_the_vehicles_page() -> None:
    svg = pdfs.qr_svg(ADDRESS)
    assert svg.startswith("<svg")
    assert svg != pdfs.qr_svg(ADDRESS + "x")


def test_other_languages_set_the_language_of_the_file_and_the_form_of_days(reports: Told) -> None:
    with translation.override("de"):
        reader = opened(reports.blue)
    assert reader.trailer["/Root"]["/Lang"].startswith("de")
    with translation.override("ar"):
        assert opened(reports.blue).trailer["/Root"]["/Lang"].startswith("ar")


def test_a_report_about_nothing_known_is_still_one(reports: Told) -> None:
    text = told(opened(reports.unknown))
    assert "Nothing is known yet" in text
    assert "0 of 30" in text
    assert "Nobody has inspected this vehicle yet." in text


def test_a_report_takes_as_many_queries_however_much_there_is_to_tell(household: Household) -> None:
    cast, vehicle = household.cast, vehicle_of(household.cast.access, household.blue.pk)
    condition_report(cast.access, vehicle)
    with CaptureQueriesContext(connection) as few:
        condition_report(cast.access, vehicle)
    for index in range(3):
        photo(cast.access, household.blue, encoded(drawn(300 + index, 200)), inspection=household.inspection)
        fit(household, index)
    with CaptureQueriesContext(connection) as many:
        report = condition_report(cast.access, vehicle)
    assert (len(report.fitted), len(report.inspections), len(report.findings[1].photos)) == (3, 5, 3)
    assert len(many) == len(few) <= MOST_QUERIES


MOST_QUERIES = 24
"""Nine of our own (findings, looks, photos, inspections, what was left out, measured values, fitted parts, score,
condition) and those of the judge and the decider, which are counted in their own tests."""


def fit(household: Household, index: int) -> None:
    """A part fitted and an inspection with a measured figure more."""
    cast, day = household.cast, date(2020 + index, 5, 1)
    FittedPart.objects.create(
        fleet=cast.fleet, vehicle=household.blue, part_key="air-filter", position=f"{index}", fitted_on=day
    )
    measured = result(PADS, "front-right", measurement={"value": 11.0 - index, "unit": "mm"})
    inspect(cast.access, household.blue, measured, inspected_on=day, shown_km=Decimal(50_000 + 9_000 * index))
