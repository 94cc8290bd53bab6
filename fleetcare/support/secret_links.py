"""Private links: a secret in the address opens one page without a login, and only its digest is stored."""

import hashlib
import secrets

SECRET_BYTES = 24
"""192 random bits: not to be guessed, so one fast hash is enough."""
TOKEN_CHARACTERS = 32
DIGEST_CHARACTERS = 64


def make_token() -> tuple[str, str]:
    """A fresh secret for an address (32 URL-safe characters), and the digest to store (64 hex characters)."""
    token = secrets.token_urlsafe(SECRET_BYTES)
    return token, digest_of(token)


def digest_of(token: str) -> str:
    """What a stored link is looked up by. Any text is taken, so that a wrong token costs what a right one does."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
