"""Identifiers: random enough not to be guessed, ordered by time so that indexes stay dense (RFC 9562, version 7)."""

import secrets
import time
import uuid


def new_id() -> uuid.UUID:
    """A fresh UUID version 7: 48 bits of milliseconds, 74 random bits."""
    milliseconds = time.time_ns() // 1_000_000
    value = (milliseconds & (1 << 48) - 1) << 80 | secrets.randbits(80)
    value = value & ~(0xF << 76) | 7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return uuid.UUID(int=value)
