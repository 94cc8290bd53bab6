"""Idempotency-Key: what a request asked for, told apart from any other, and its answer sealed for a repetition.

The header is the IETF draft's (draft-ietf-httpapi-idempotency-key-header-07); its quotes may be left out, as most
clients do.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import orjson
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings

from fleetcare.kernel.errors import Conflict, DomainError

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
LONGEST_KEY = 255
KEPT = timedelta(hours=48)
"""How long an answer is given again; a client that comes back later asks anew."""


class StillRunning(Conflict):
    """The first request with this key has not been answered yet. Remedy: repeat it in a moment."""

    code = "still-running"
    wait = 0
    """Whole seconds to wait beside the first one: the answer says so in Retry-After."""


class KeyReused(DomainError):
    """The key stands for another request. Remedy: a fresh key for each thing that is asked for."""

    code = "idempotency-key-reused"
    status = 422
    title = "The key stands for another request"


@dataclass(frozen=True, slots=True)
class Asked:
    """A request that may come again: who asked under which key (`row_id`), and what for (`fingerprint`)."""

    key: str
    row_id: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What was answered, to the byte."""

    status: int
    headers: dict[str, str]
    body: bytes


def key_of(header: str | None) -> str | None:
    """The key of a request, None without one. Raises DomainError for an empty, long or unprintable one."""
    if header is None:
        return None
    text = header.strip()
    if len(text) > 1 and text[0] == text[-1] == '"':
        text = text[1:-1]
    if not (1 <= len(text) <= LONGEST_KEY and text.isascii() and text.isprintable()):
        sentence = f"{HEADER} takes 1 to {LONGEST_KEY} printable ASCII characters."
        raise DomainError(sentence, code="idempotency-key")
    return text


def asked_of(request: Any, key: str, actor: str, fleet_id: object) -> Asked:
    """What a REST request asks for. Reads the body; what is read can be read again."""
    row_id = _digest(str(fleet_id), actor, key)
    return Asked(key, row_id, _digest(request.method, request.get_full_path(), _body(request)))


def _body(request: Any) -> bytes:
    if not (request.content_type or "").startswith("multipart/"):
        body: bytes = request.body
        return body
    # The boundary between the parts is made up anew by a client that repeats itself, so the parts count.
    parts = hashlib.sha256()
    for name, values in sorted(request.data.lists()):
        for value in values:
            parts.update(_framed(name.encode()))
            for piece in value.chunks() if hasattr(value, "chunks") else [str(value).encode()]:
                parts.update(piece)
            if hasattr(value, "seek"):
                value.seek(0)
    return parts.digest()


def _digest(*parts: str | bytes) -> str:
    whole = hashlib.sha256()
    for part in parts:
        whole.update(_framed(part.encode() if isinstance(part, str) else part))
    return whole.hexdigest()


def _framed(part: bytes) -> bytes:
    return len(part).to_bytes(8, "big") + part


def seal(asked: Asked, answer: Answer) -> bytes:
    """The answer, to be read only by whoever has the request's key: some answers show a secret this once."""
    plain = orjson.dumps([answer.status, answer.headers, answer.body.decode()])
    return _lock(asked).encrypt(plain)


def unseal(asked: Asked, sealed: bytes) -> Answer:
    """The answer again; raises Conflict where the signing key it was sealed under is gone."""
    try:
        status, headers, body = orjson.loads(_lock(asked).decrypt(sealed))
    except InvalidToken as error:
        raise Conflict("It was done, but its answer cannot be shown again.", code="answer-gone") from error
    return Answer(status, headers, body.encode())


def _lock(asked: Asked) -> MultiFernet:
    secrets = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    words = f"fleetcare kept answer {asked.row_id} {asked.key}".encode()
    keys = [hmac.digest(secret.encode(), words, "sha256") for secret in secrets]
    return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in keys])
