"""A stranger's picture made harmless: decoded by an allow-list, turned upright, stripped, drawn anew.

Runs as a program of its own (`prepared` starts it): a decoder that crashes, hangs or swallows memory takes down
nothing but itself. Imports nothing of this project, so that starting it costs little.
"""

from __future__ import annotations

import base64
import io
import json
import logging
import subprocess
import sys
import threading
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

MOST_BYTES = 10 * 1024 * 1024
MOST_PIXELS = 40_000_000
LARGEST_SIDE_PX = 2048
THUMBNAIL_SIDE_PX = 400
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
"""What is decoded."""
_JPEG_WITH_MORE = "MPO"
"""How many telephones write a JPEG: with a second, hidden picture. The first one counts."""
_QUALITY = 85
_MOST_SECONDS = 10
_MOST_MEMORY_BYTES = 1536 * 1024 * 1024
_AT_ONCE = threading.BoundedSemaphore(2)
"""Pictures decoded at once in one process, so that a burst of uploads cannot take all the memory there is."""
_EXIF_DATES = (36867, 36868, 306)
"""Taken, digitised, changed: the tags of Exif 2.3 in the order in which they are believed."""
_EXIF_PRIVATE_BLOCK = 0x8769
_START_OF_SCAN = 0xDA
log = logging.getLogger(__name__)


class Refused(Exception):
    """The upload is no picture that is taken; `code` says why. Remedy: send a JPEG, PNG, WebP or HEIC photo."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Prepared:
    """Two fresh JPEGs without any metadata: the picture and a small one; sides in pixels, of the picture."""

    picture: bytes
    thumbnail: bytes
    width_px: int
    height_px: int
    taken_on: date | None


def prepared(data: bytes) -> Prepared:
    """The upload as two clean JPEGs, decoded in a process with limits of time and memory.

    Raises Refused: "too-large", "not-a-picture", "truncated", "several-frames", "too-many-pixels", "too-costly".
    """
    if len(data) > MOST_BYTES:
        raise Refused("too-large")
    with _AT_ONCE:
        answer = _decoded_apart(data)
    if "refused" in answer:
        raise Refused(answer["refused"])
    return Prepared(
        base64.b64decode(answer["picture"]),
        base64.b64decode(answer["thumbnail"]),
        answer["width_px"],
        answer["height_px"],
        date.fromisoformat(answer["taken_on"]) if answer["taken_on"] else None,
    )


def _decoded_apart(data: bytes) -> dict[str, Any]:
    # -I: no environment, no current directory, nothing a stranger could have put in the way of an import.
    program = [sys.executable, "-I", str(Path(__file__).resolve())]
    try:
        ended = subprocess.run(program, input=data, capture_output=True, timeout=_MOST_SECONDS, check=False)  # noqa: S603
    except subprocess.TimeoutExpired:
        return {"refused": "too-costly"}
    if ended.returncode != 0:
        log.warning("a picture could not be opened (%d): %s", ended.returncode, ended.stderr[-500:].decode("latin-1"))
        return {"refused": "too-costly"}
    answer: dict[str, Any] = json.loads(ended.stdout)
    return answer


def redrawn(data: bytes) -> Prepared:
    """What `prepared` does, in this process and without limits of time and memory. Raises Refused."""
    from PIL import Image, UnidentifiedImageError

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    _open_heic()
    if (declared := _webp_canvas(data)) and declared > MOST_PIXELS:
        raise Refused("too-many-pixels")
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as image:
            _refuse_many(image)
            return _drawn(image)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Refused("too-many-pixels") from error
    except UnidentifiedImageError as error:
        raise Refused("not-a-picture") from error
    except MemoryError as error:
        raise Refused("too-costly") from error
    except (OSError, SyntaxError, ValueError, EOFError, IndexError) as error:
        # What the decoders raise on data that begins like a picture and goes on otherwise.
        raise Refused("truncated") from error


def _open_heic() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener(thumbnails=False)


def _webp_canvas(data: bytes) -> int:
    """The pixels of a WebP's canvas, read before the decoder makes room for it; 0 for anything else."""
    if data[:4] != b"RIFF" or data[8:16] != b"WEBPVP8X" or len(data) < 30:
        return 0
    width = int.from_bytes(data[24:27], "little") + 1
    height = int.from_bytes(data[27:30], "little") + 1
    return width * height


def _refuse_many(image: Any) -> None:
    """Before a pixel is decoded: too many of them, or moving ones."""
    if image.width * image.height > MOST_PIXELS:
        raise Refused("too-many-pixels")
    if image.format != _JPEG_WITH_MORE and getattr(image, "n_frames", 1) > 1:
        raise Refused("several-frames")


def _drawn(image: Any) -> Prepared:
    from PIL import ImageOps

    taken_on = _taken_on(image)
    profile = image.info.get("icc_profile")
    # A JPEG is decoded at the smallest size that still serves.
    image.draft("RGB", (LARGEST_SIDE_PX, LARGEST_SIDE_PX))
    image.load()
    small = _eight_bits(image)
    small.thumbnail((LARGEST_SIDE_PX, LARGEST_SIDE_PX), reducing_gap=2.0)
    # The small copy carries the orientation that the picture was opened with.
    small.info = {key: image.info[key] for key in ("exif",) if key in image.info}
    upright = _in_plain_colours(ImageOps.exif_transpose(small), profile)
    thumbnail = upright.copy()
    thumbnail.thumbnail((THUMBNAIL_SIDE_PX, THUMBNAIL_SIDE_PX))
    return Prepared(_jpeg(upright), _jpeg(thumbnail), upright.width, upright.height, taken_on)


def _eight_bits(image: Any) -> Any:
    """Grey, colour or colour with transparency, eight bits a channel."""
    if image.mode.startswith(("I", "F")):
        low, high = image.getextrema()
        # Sixteen bits hold 0 to 65535; anything wider is spread over what it uses.
        top = 65535 if low >= 0 and 255 < high <= 65535 else max(high, 1)
        return image.convert("F").point(lambda value: value * (255.0 / top)).convert("L")
    if image.mode == "P" or image.mode == "PA" or "transparency" in image.info:
        return image.convert("RGBA")
    if image.mode in {"L", "LA", "RGB", "RGBA"}:
        return image if image.mode != "LA" else image.convert("RGBA")
    return image.convert("RGB")


def _in_plain_colours(image: Any, profile: bytes | None) -> Any:
    """RGB in the colours every screen assumes, on white where it was transparent; no metadata kept."""
    from PIL import Image

    if image.mode == "RGBA":
        ground = Image.new("RGB", image.size, "white")
        ground.paste(image, mask=image.getchannel("A"))
        image = ground
    image = image.convert("RGB")
    if profile:
        image = _converted(image, profile)
    fresh = Image.new("RGB", image.size)
    fresh.paste(image)
    return fresh


def _converted(image: Any, profile: bytes) -> Any:
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        return ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB") or image
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        # A profile that does not fit the picture: its colours are shown as they stand.
        return image


def _taken_on(image: Any) -> date | None:
    """The day in the picture's own record, where it says one; nothing else of that record is kept."""
    try:
        exif = image.getexif()
        block = exif.get_ifd(_EXIF_PRIVATE_BLOCK)
        said = next((value for tag in _EXIF_DATES if (value := block.get(tag) or exif.get(tag))), "")
        day = datetime.strptime(str(said)[:10], "%Y:%m:%d").date()  # noqa: DTZ007 - a wall clock's day
    except (ValueError, TypeError, KeyError, OSError, SyntaxError):
        return None
    return day if date(1970, 1, 1) <= day <= date(2200, 1, 1) else None


def is_plain_jpeg(data: bytes) -> bool:
    """Whether these bytes are one JPEG (ITU-T T.81) without metadata and with nothing after it, as we write them."""
    if data[:2] != b"\xff\xd8" or data[-2:] != b"\xff\xd9":
        return False
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        # Application data but for the JFIF header, comments, and anything that is no segment.
        if 0xE1 <= marker <= 0xEF or marker in {0xFE, 0xD8, 0xD9, 0x00} or length < 2:
            return False
        at += 2 + length
        if marker == _START_OF_SCAN:
            at = _end_of_scan(data, at)
            if data[at : at + 2] == b"\xff\xd9":
                return at + 2 == len(data)
    return False


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the next marker stands after coded data; stuffed bytes and restart markers belong to the data."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        if data[at + 1] != 0x00 and not 0xD0 <= data[at + 1] <= 0xD7:
            return at
        at += 2


def _jpeg(image: Any) -> bytes:
    written = io.BytesIO()
    image.save(written, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return written.getvalue()


def _limit_this_process() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY_BYTES, _MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (_MOST_SECONDS, _MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _main() -> None:
    _limit_this_process()
    try:
        found = redrawn(sys.stdin.buffer.read(MOST_BYTES + 1))
    except Refused as error:
        answer: dict[str, Any] = {"refused": error.code}
    else:
        answer = {
            "picture": base64.b64encode(found.picture).decode(),
            "thumbnail": base64.b64encode(found.thumbnail).decode(),
            "width_px": found.width_px,
            "height_px": found.height_px,
            "taken_on": found.taken_on.isoformat() if found.taken_on else None,
        }
    sys.stdout.write(json.dumps(answer))


if __name__ == "__main__":
    _main()
