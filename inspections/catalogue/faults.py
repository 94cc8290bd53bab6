"""What is wrong with a catalogue file, said so that its author finds the place."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault: the file, the key of the part (or vocabulary entry), the field below it, and what is wrong there.

    `part` or `field` is empty when the fault is of the whole file or part.
    """

    file: str
    part: str
    field: str
    message: str

    def __str__(self) -> str:
        places = (self.file, self.part, self.field, self.message)
        return ": ".join(place for place in places if place)


class CatalogueError(Exception):
    """The catalogue's files cannot be used. Correct each fault in the file, part and field it names, and load again.

    `file`, `part`, `field` and `message` are those of the first fault; `faults` holds all that were found.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        self.file, self.part, self.field, self.message = first.file, first.part, first.field, first.message
        super().__init__("\n".join(str(fault) for fault in self.faults))
