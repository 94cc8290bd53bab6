"""Pictures drawn for tests, sound ones and hostile ones."""

import io
import struct
import zlib
from typing import Any

import pillow_heif
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from inspections.models import Photo
from inspections.services.photos import store_photo
from tests.inspections.given import BOOT

pillow_heif.register_heif_opener()

RED, BLUE = (200, 30, 30), (30, 30, 200)


def drawn(width: int = 60, height: int = 40, mode: str = "RGB") -> Image.Image:
    """Red above, blue below: which way is up can be told."""
    image = Image.new("RGB", (width, height), RED)
    image.paste(BLUE, (0, height // 2, width, height))
    return image.convert(mode)


def encoded(image: Image.Image | None = None, kind: str = "JPEG", **options: Any) -> bytes:
    written = io.BytesIO()
    (image or drawn()).save(written, kind, **options)
    return written.getvalue()


def upload(data: bytes | None = None, name: str = "photo.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, encoded() if data is None else data)


def photo(access: Access, vehicle: Vehicle, data: bytes | None = None, **values: Any) -> Photo:
    """A stored photo of the torn boot, through the use-case."""
    given = {"check_key": BOOT, "position": "front-right", **values}
    return store_photo(access, vehicle, upload=upload(data), **given)[0]


def png_that_claims(width: int, height: int) -> bytes:
    """A PNG whose header promises far more pixels than its few bytes hold."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


def webp_that_claims(width: int, height: int) -> bytes:
    """A WebP whose canvas is far larger than what is drawn on it."""
    canvas = struct.pack("<I", 0) + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + struct.pack("<I", len(canvas)) + canvas + encoded(kind="WEBP")[12:]
    return b"RIFF" + struct.pack("<I", len(body)) + body


def moving(kind: str) -> bytes:
    frames = [drawn(), drawn().rotate(180)]
    return encoded(frames[0], kind, save_all=True, append_images=frames[1:])


def telephone_jpeg() -> bytes:
    """With where it was taken, by whom, a comment, and the camera held on its side (orientation 6)."""
    exif = Image.Exif()
    exif[274] = 6
    exif[271] = "Maker-7731"
    exif[306] = "2024:05:02 10:11:12"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (13.0, 24.0, 18.0)})
    exif.get_ifd(0x8769).update({36867: "2024:05:01 09:08:07"})
    return encoded(exif=exif, comment=b"comment-7731", dpi=(300, 300))
