"""Whatever is sent: a clean JPEG comes out, or a refusal that says why (corpus of reliability notes, section 7)."""

import io
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest
from PIL import Image

from inspections.services import pictures
from inspections.services.pictures import FORMATS, MOST_BYTES, Refused, prepared, redrawn
from tests.inspections.photos.pictures import (
    BLUE,
    RED,
    drawn,
    encoded,
    moving,
    png_that_claims,
    telephone_jpeg,
    webp_that_claims,
)


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def near(pixel: tuple[int, ...], colour: tuple[int, int, int]) -> bool:
    return all(abs(a - b) < 25 for a, b in zip(pixel, colour, strict=True))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_every_kind_of_photo_becomes_a_jpeg_with_a_small_copy(kind: str) -> None:
    found = redrawn(encoded(drawn(2600, 1300), kind))
    picture, small = opened(found.picture), opened(found.thumbnail)
    assert (picture.format, picture.size, picture.mode) == ("JPEG", (2048, 1024), "RGB")
    assert (small.format, small.size) == ("JPEG", (400, 200))
    assert (found.width_px, found.height_px) == (2048, 1024)
    assert near(picture.getpixel((1000, 100)), RED)
    assert near(picture.getpixel((1000, 900)), BLUE)


def test_a_small_photo_is_not_blown_up() -> None:
    assert opened(redrawn(encoded(drawn(60, 40))).picture).size == (60, 40)


def test_a_photo_taken_on_its_side_is_turned_upright_and_says_nothing_of_where_and_by_whom() -> None:
    sent = telephone_jpeg()
    assert dict(opened(sent).getexif().get_ifd(0x8825)), "the corpus has a place in it"
    found = redrawn(sent)
    for data in (found.picture, found.thumbnail):
        image = opened(data)
        assert len(image.getexif()) == 0
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
        assert b"7731" not in data
    # Orientation 6: what was at the left stands above.
    image = opened(found.picture)
    assert image.size == (40, 60)
    assert near(image.getpixel((35, 30)), RED)
    assert near(image.getpixel((4, 30)), BLUE)
    assert found.taken_on == date(2024, 5, 1)


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "CMYK", "1", "I;16"])
def test_grey_paletted_transparent_and_printed_colours_all_become_plain_ones(mode: str) -> None:
    if mode == "I;16":
        image = Image.new("I;16", (60, 40), 65535)
    elif mode in {"RGBA", "LA"}:
        image = drawn().convert("RGBA")
        image.putalpha(0)
        image = image.convert(mode)
    else:
        image = drawn(mode=mode)
    found = opened(redrawn(encoded(image, "JPEG" if mode == "CMYK" else "PNG")).picture)
    assert found.mode == "RGB"
    if mode in {"RGBA", "LA", "I;16"}:
        assert near(found.getpixel((30, 10)), (255, 255, 255))
    if mode in {"P", "CMYK"}:
        assert near(found.getpixel((30, 35)), BLUE)


def test_a_broken_colour_profile_is_no_reason_to_refuse_a_photo() -> None:
    found = opened(redrawn(encoded(icc_profile=b"no profile at all" * 20)).picture)
    assert near(found.getpixel((30, 35)), BLUE)


def test_what_was_appended_to_a_picture_is_gone() -> None:
    found = redrawn(encoded() + b"<script>alert('7731')</script>" + b"PK\x03\x04")
    assert b"7731" not in found.picture
    assert found.picture.endswith(b"\xff\xd9")


def test_a_telephones_jpeg_with_a_second_picture_inside_keeps_the_first() -> None:
    double = encoded(drawn(), "MPO", save_all=True, append_images=[drawn().rotate(180)])
    assert opened(double).n_frames == 2
    assert near(opened(redrawn(double).picture).getpixel((30, 5)), RED)


SVG = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HOSTILE = {
    "svg": (SVG, "not-a-picture"),
    "html": (b"<!doctype html><html><script>alert(1)</script></html>", "not-a-picture"),
    "text": (b"no picture at all", "not-a-picture"),
    "pdf": (b"%PDF-1.7\n1 0 obj <</S/JavaScript/JS(app.alert(1))>> endobj", "not-a-picture"),
    "postscript": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(/etc/passwd) (r) file", "not-a-picture"),
    "gif": (encoded(drawn(mode="P"), "GIF"), "not-a-picture"),
    "moving gif": (moving("GIF"), "not-a-picture"),
    "tiff": (encoded(kind="TIFF"), "not-a-picture"),
    "bmp": (encoded(kind="BMP"), "not-a-picture"),
    "moving png": (moving("PNG"), "several-frames"),
    "moving webp": (moving("WEBP"), "several-frames"),
    "several heic": (moving("HEIF"), "several-frames"),
    "bomb png": (png_that_claims(20_000, 20_000), "too-many-pixels"),
    "bomb webp": (webp_that_claims(16_000, 16_000), "too-many-pixels"),
    "cut jpeg": (encoded(drawn(400, 300))[:-900], "truncated"),
    "cut png": (encoded(drawn(400, 300), "PNG")[:-60], "truncated"),
    "cut webp": (encoded(drawn(400, 300), "WEBP")[:-60], "truncated"),
    "cut heic": (encoded(drawn(400, 300), "HEIF")[:-60], "truncated"),
    "head only": (b"\xff\xd8\xff\xe0", "not-a-picture"),
    "html that begins as a jpeg": (b"\xff\xd8\xff\xe0<html><script>alert(1)</script>", "truncated"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_and_broken_files_are_refused_with_the_reason_and_at_once(name: str) -> None:
    data, code = HOSTILE[name]
    started = time.perf_counter()
    with pytest.raises(Refused) as refused:
        redrawn(data)
    assert refused.value.code == code
    assert time.perf_counter() - started < 1.0


def test_just_under_the_limit_of_pixels_is_taken_and_just_over_it_is_not() -> None:
    assert redrawn(encoded(Image.new("1", (8000, 5000)), "PNG")).width_px == 2048
    with pytest.raises(Refused, match="too-many-pixels"):
        redrawn(encoded(Image.new("1", (8000, 5001)), "PNG"))


def test_a_file_over_the_limit_is_refused_without_being_opened() -> None:
    with pytest.raises(Refused, match="too-large"):
        prepared(b"\0" * (MOST_BYTES + 1))


def test_the_program_apart_answers_as_the_function_does() -> None:
    sent = telephone_jpeg()
    assert prepared(sent) == redrawn(sent)
    with pytest.raises(Refused, match="several-frames"):
        prepared(moving("WEBP"))


def test_a_decoder_that_hangs_crashes_or_takes_all_memory_costs_one_photo_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = Path(pictures.__file__).read_text(encoding="utf-8")
    for name, body in {
        "hangs": "while True: pass",
        "crashes": "import os; os.abort()",
        "takes memory": "bytearray(4 * 1024 ** 3)",
        "writes a file": f"Path({str(tmp_path / 'left')!r}).write_bytes(b'x' * 4096)",
    }.items():
        program = tmp_path / f"{name}.py"
        program.write_text(source.replace("found = redrawn(", f"{body}\n        found = redrawn("), encoding="utf-8")
        monkeypatch.setattr(pictures, "__file__", str(program))
        monkeypatch.setattr(pictures, "_MOST_SECONDS", 1)
        with pytest.raises(Refused, match="too-costly"):
            prepared(encoded())
    assert not (tmp_path / "left").exists() or not (tmp_path / "left").stat().st_size


def test_the_costliest_picture_that_is_allowed_fits_into_the_memory_given() -> None:
    """Peak of a fresh process for 40 million transparent pixels: 0.5 GB measured; the limit is 1.5 GB of addresses."""
    data = encoded(Image.new("RGBA", (8000, 5000)), "PNG")
    # A process whose only child is the decoder: what other children of this one took is not counted.
    measuring = (
        "import resource, subprocess, sys;"
        "subprocess.run([sys.executable, '-I', sys.argv[1]], check=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr)"
    )
    program = [sys.executable, "-c", measuring, str(Path(pictures.__file__).resolve())]
    ended = subprocess.run(program, input=data, capture_output=True, check=True)
    assert b'"width_px": 2048' in ended.stdout
    assert int(ended.stderr.split()[-1]) < 1_000_000


def test_only_photo_formats_are_decoded() -> None:
    assert set(FORMATS) == {"JPEG", "PNG", "WEBP", "HEIF"}
