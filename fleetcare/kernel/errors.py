"""One tree of errors: what went wrong, where in the input, and what to do about it.

Core and services raise these; one handler turns them into problem documents (RFC 9457), pages show the same sentence.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input: its place as a JSON pointer (RFC 6901), a stable code, a sentence."""

    pointer: str
    code: str
    detail: str

    def under(self, prefix: str) -> "Fault":
        """The same fault seen from further out."""
        return Fault(prefix + self.pointer, self.code, self.detail)


class DomainError(Exception):
    """Something the domain refuses. Remedy: the sentence says; `faults` name each place."""

    code = "refused"
    status = 400
    title = "Refused"

    def __init__(self, detail: str, *, code: str | None = None, faults: Iterable[Fault] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.code = code or type(self).code
        self.faults = tuple(faults)


class InvalidInput(DomainError):
    """The input contradicts itself, the catalogue or the facts. Remedy: correct the named fields and send again."""

    code = "invalid"
    status = 400
    title = "The input is not valid"

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> "InvalidInput":
        """All faults at once, so that a person corrects them in one go."""
        listed = tuple(faults)
        text = listed[0].detail if len(listed) == 1 else f"{len(listed)} things need correcting."
        return cls(text, faults=listed)

    @classmethod
    def at(cls, pointer: str, code: str, detail: str) -> "InvalidInput":
        """A single fault."""
        return cls.of([Fault(pointer, code, detail)])


class NotFound(DomainError):
    """There is no such thing, or it is not yours: the answer is the same. Remedy: check the address."""

    code = "not-found"
    status = 404
    title = "Not found"

    def __init__(self) -> None:
        super().__init__("There is nothing at this address.")


class Forbidden(DomainError):
    """You know the thing but your role may not do this. Remedy: ask an owner of the fleet."""

    code = "forbidden"
    status = 403
    title = "Not allowed"


class Conflict(DomainError):
    """The request clashes with what is stored. Remedy: read the stored state, then decide."""

    code = "conflict"
    status = 409
    title = "Clashes with what is stored"


class NoRoom(DomainError):
    """There is no room left to keep a file; nothing was stored. Remedy: free space where the files are kept."""

    code = "no-room"
    status = 507
    title = "No room left"


class StaleWrite(DomainError):
    """Somebody changed the thing since you read it. Remedy: read it again and repeat the change."""

    code = "stale"
    status = 412
    title = "Changed by somebody else in the meantime"


def raise_if_any(faults: Iterable[Fault]) -> None:
    """Raises InvalidInput naming every fault, or does nothing."""
    listed = tuple(faults)
    if listed:
        raise InvalidInput.of(listed)
