"""The invented fleets as they are written down in `fixtures_demo/`."""

import uuid
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Literal

import msgspec

FOLDER = Path(__file__).resolve().parents[3] / "fixtures_demo"
_NAMESPACE = uuid.UUID("5d0e4a3c-7f57-4f0e-9b9e-3f1d2c6a8b40")

Character = Literal["careful", "ordinary", "neglected", "dangerous", "unseen"]


class DemoVehicle(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A vehicle with what nobody in its fleet knows exactly: how it is used and looked after."""

    name: str
    plate: str
    vin: str
    make: str
    model: str
    model_year: int
    first_used_on: date
    km_per_year: int
    kept_years: float
    """How long its fleet has been writing things down."""
    character: Character
    traits: dict[str, str]
    note: str = ""
    odometer_replaced_years_ago: float | None = None
    litres_per_100_km: float | None = None
    """Said of those whose fills are written down."""
    thirstier_since_years_ago: float | None = None
    thirstier_by: float = 0.0
    """0.15: from that day on it takes 15 % more."""


class DemoContact(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A person who is told about vehicles, named here by the vehicles' names."""

    name: str
    email: str
    phone: str
    vehicles: tuple[str, ...]
    rhythm: Literal["daily", "weekly", "monthly"] = "weekly"


class DemoService(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Work that comes round on every vehicle it fits: of a template, or with a title and months of its own."""

    template: str = ""
    title: str = ""
    every_months: int | None = None

    @property
    def key(self) -> str:
        """What tells it from the fleet's others."""
        return self.template or self.title


class DemoNote(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What somebody learned about a model; the model is told by one of its vehicles' names."""

    vehicle: str
    kind: Literal["where", "tool", "torque", "time", "note"]
    text: str
    part: str = ""
    job: str = ""
    check: str = ""
    value: Decimal | None = None
    unit: str = ""
    source: str = ""


class DemoPlanned(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Jobs taken on for the worst that was found on a vehicle, on a day to come."""

    vehicle: str
    jobs: int
    in_days: int
    assigned_to: str


class DemoEstimate(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """An estimate that lies with a customer: a line for each of the worst findings of a vehicle."""

    vehicle: str
    contact: str
    lines: int
    note: str
    tax_percent: Decimal
    worn_alternative: str
    """The title of a cheaper way to do the first line."""


class DemoFleet(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A household, a club or a workshop with its vehicles."""

    key: str
    name: str
    kind: Literal["household", "club", "workshop"]
    currency: str
    distance_unit: Literal["km", "mi"]
    time_zone: str
    limit_scheme: Literal["eu", "uk", "us"]
    inspectors: tuple[str, ...]
    vehicles: tuple[DemoVehicle, ...]
    contacts: tuple[DemoContact, ...] = ()
    litre_minor: float = 0.0
    """What a litre of fuel costs, in minor units of its currency."""
    services: tuple[DemoService, ...] = ()
    know_how: tuple[DemoNote, ...] = ()
    planned: tuple[DemoPlanned, ...] = ()
    estimates: tuple[DemoEstimate, ...] = ()

    @property
    def id(self) -> uuid.UUID:
        """The same in every installation, so that a second run finds what the first one loaded."""
        return uuid.uuid5(_NAMESPACE, self.key)

    def vehicle_id(self, name: str) -> uuid.UUID:
        """The id of one of its vehicles."""
        return uuid.uuid5(self.id, name)


def demo_fleets(folder: Path = FOLDER) -> tuple[DemoFleet, ...]:
    """Every fleet of the folder, small ones first. Raises msgspec.DecodeError naming what is wrong in a file."""
    fleets = [msgspec.toml.decode(path.read_bytes(), type=DemoFleet) for path in folder.glob("*.toml")]
    return tuple(sorted(fleets, key=lambda fleet: (len(fleet.vehicles), fleet.key)))
