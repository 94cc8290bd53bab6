"""The signing key: given, or made once and kept for an installation that only this machine can reach."""

import os
import secrets
import time
from collections.abc import Iterable
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

_SHORTEST = 50
_SHORTEST_TOKEN = 24
_LOCAL = {"localhost", "127.0.0.1", "[::1]", ".localhost", "testserver"}


def secret_key(given: str, hosts: Iterable[str], data: Path) -> str:
    """The key to sign with. Raises ImproperlyConfigured for a short key, or none where strangers may connect."""
    if given:
        if len(given) < _SHORTEST or len(set(given)) < 5:
            raise ImproperlyConfigured(f"SECRET_KEY must have at least {_SHORTEST} characters and vary.")
        return given
    if not set(hosts) <= _LOCAL:
        raise ImproperlyConfigured("Set SECRET_KEY: ALLOWED_HOSTS names more than this machine.")
    return _kept_key(data / "secret-key")


def long_enough(name: str, token: str) -> str:
    """A token that opens something, or none. Raises ImproperlyConfigured for one that could be guessed."""
    if token and len(token) < _SHORTEST_TOKEN:
        raise ImproperlyConfigured(f"{name} must have at least {_SHORTEST_TOKEN} characters.")
    return token


def _kept_key(path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        # Two processes starting together: the first one's key is the key, once it has written it.
        return _written_key(path)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(64))
    return path.read_text(encoding="ascii")


def _written_key(path: Path) -> str:
    for _ in range(100):
        text = path.read_text(encoding="ascii")
        if len(text) >= _SHORTEST:
            return text
        time.sleep(0.01)
    raise ImproperlyConfigured(f"{path} holds no key; delete it to have one made.")
