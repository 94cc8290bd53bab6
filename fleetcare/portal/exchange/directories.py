"""The table of contents of a ZIP file, measured before anything is made of it."""

import struct
from typing import IO

_END = b"PK\x05\x06"
_END_OF_LARGE = b"PK\x06\x07"
_END_RECORD = struct.Struct("<4s4H2LH")
_LONGEST_COMMENT = 65_535
_LARGE = 0xFFFFFFFF


def contents_fit(source: IO[bytes], most_bytes: int) -> bool:
    """Whether the file ends as a ZIP does whose table of contents has no more bytes than `most_bytes`.

    Reading the table makes an object of each of its entries, ten times its size in memory: half a gigabyte of them
    would be five. The larger form (ZIP64) is refused; no file that is taken here needs it. What is no ZIP does not fit.
    """
    source.seek(0, 2)
    size = source.tell()
    tail_at = max(size - _END_RECORD.size - _LONGEST_COMMENT, 0)
    source.seek(tail_at)
    tail = source.read()
    at = tail.rfind(_END)
    record = tail[at : at + _END_RECORD.size] if at >= 0 else b""
    if len(record) < _END_RECORD.size or _END_OF_LARGE in tail[max(at - 20, 0) : at]:
        return False
    _, _, _, _, _, contents_bytes, offset, _ = _END_RECORD.unpack(record)
    return contents_bytes <= most_bytes and _LARGE not in (contents_bytes, offset)
