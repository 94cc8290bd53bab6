"""What can be imported, the columns each kind takes, and the names under which other programs write them."""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from inspections.catalogue.loader import default_catalogue

Form = Literal["text", "number", "distance", "volume", "money", "day", "yes-no", "trait"]


@dataclass(frozen=True, slots=True)
class Field:
    """One thing a row may say: its name, form, whether it must be there, and other names for its column."""

    name: str
    form: Form
    required: bool = False
    longest: int = 200
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of table."""

    key: str
    fields: tuple[Field, ...]

    def field(self, name: str) -> Field:
        """The field of a name; raises KeyError where there is none."""
        return {field.name: field for field in self.fields}[name]


_VEHICLE = Field("vehicle", "text", longest=80, also=("car", "vehicle name", "name", "plate", "registration", "vin",
                 "fahrzeug", "kennzeichen", "véhicule", "vehículo"))  # fmt: skip
_ODOMETER = Field("odometer", "distance", also=("odometer km", "odometer mi", "km", "mileage", "kilometres",
                  "kilometers", "miles", "km-stand", "kilometerstand", "kilométrage"))  # fmt: skip
_NOTE = Field("note", "text", longest=2000, also=("notes", "comment", "remark", "bemerkung", "notiz", "remarque"))


def _day(name: str) -> Field:
    return Field(name, "day", required=True, also=("date", "day", "datum", "tag", "fecha", name.replace("_", " ")))


def _required(field: Field) -> Field:
    return Field(field.name, field.form, required=True, longest=field.longest, also=field.also)


def kinds() -> Mapping[str, Kind]:
    """Every kind by its key."""
    found = (
        Kind("odometer", (_VEHICLE, _day("read_on"), _required(_ODOMETER))),
        Kind(
            "fuel",
            (
                _VEHICLE,
                _day("filled_on"),
                Field(
                    "litres",
                    "volume",
                    required=True,
                    also=("liter", "liters", "volume", "gallons", "quantity", "menge", "litros"),
                ),
                _ODOMETER,
                Field("full", "yes-no", also=("full tank", "filled up", "tank full", "voll", "vollgetankt", "plein")),
                Field("missed_before", "yes-no", also=("missed", "missed fill", "missed before")),
                Field("price", "money", also=("cost", "total", "total cost", "amount", "preis", "betrag", "prix")),
                _NOTE,
            ),
        ),
        Kind(
            "services",
            (
                _VEHICLE,
                _day("done_on"),
                Field(
                    "title",
                    "text",
                    required=True,
                    longest=160,
                    also=("work", "service", "description", "job"),
                ),
                _required(_ODOMETER),
                Field("hours", "number", also=("labour hours", "stunden")),
                Field("labour_cost", "money", also=("labour", "labor", "labor cost")),
                Field("parts_cost", "money", also=("parts", "parts price", "teile")),
                Field("other_cost", "money", also=("cost", "total", "price", "amount", "preis", "betrag")),
                _NOTE,
            ),
        ),
        Kind("vehicles", _vehicle_fields()),
    )
    return {kind.key: kind for kind in found}


def _vehicle_fields() -> tuple[Field, ...]:
    plain = (
        Field(
            "name",
            "text",
            required=True,
            longest=80,
            also=("vehicle", "car", "fahrzeug", "bezeichnung", "nom"),
        ),
        Field("plate", "text", longest=20, also=("registration", "licence plate", "license plate", "kennzeichen")),
        Field(
            "vin",
            "text",
            longest=25,
            also=("chassis number", "fin", "fahrgestellnummer"),
        ),
        Field("make", "text", longest=60, also=("brand", "manufacturer", "marke", "hersteller", "marque")),
        Field("model", "text", longest=60, also=("modell", "type", "modèle")),
        Field("model_year", "number", also=("year", "model year", "baujahr", "année")),
        Field("first_used_on", "day", required=True, also=("first used", "first registration", "erstzulassung")),
        Field("note", "text", longest=4000, also=_NOTE.also),
    )
    taken = {name for field in plain for name in (field.name, *field.also)}
    traits = (Field(key, "trait", longest=40) for key in default_catalogue().traits if key not in taken)
    return (*plain, *traits)


def guessed_mapping(kind: Kind, columns: Sequence[str]) -> dict[str, str]:
    """Which column says which field, by its name; each column and each field at most once.

    Exact names come first, so that "plate" is the plate although a plate may also name a vehicle.
    """
    plain = {_plain(column): column for column in columns if column}
    mapping: dict[str, str] = {}
    for names in (lambda field: (field.name,), lambda field: field.also):
        for field in kind.fields:
            column = next((plain[_plain(name)] for name in names(field) if _plain(name) in plain), None)
            if column is not None and field.name not in mapping and column not in mapping.values():
                mapping[field.name] = column
    return mapping


def _plain(name: str) -> str:
    """Letters and digits only, without accents: "Km-Stand (km)" and "km stand km" are the same."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9]+", " ", bare.casefold()).strip()
