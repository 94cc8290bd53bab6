"""The shape of the catalogue's files: what is said of each part, check and job.

Files are TOML, one a system, beside the vocabularies (stations, cautions, access, follow-ups, sheets, traits).
Keys are kebab-case. Distances are km, times years, hours or minutes, money whole euros of the reference price level
(a fleet scales it by its own labour rate and price factor). Every fact of the trade names its source or says
`common practice, no source`.
"""

from typing import Literal

import msgspec

COMMON_PRACTICE = "common practice, no source"

Kind = Literal["replace", "repair", "adjust", "clean"]
GradeWord = Literal["sound", "minor", "major", "dangerous"]


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a catalogue file; a field it does not know is refused, so that a slip of the pen cannot hide."""


class EuroRange(_Entry, frozen=True, kw_only=True):
    """A price range in whole euros: low <= typical <= high."""

    low: int
    typical: int
    high: int


class Life(_Entry, frozen=True, kw_only=True):
    """How long a part lasts.

    `km` and `years` are the mean life if only the one or the other counted, of parts that outlast their vehicle too: a
    part that one car in ten needs once has a mean far beyond any car's life. `cv` is its coefficient of variation;
    `km_weight` the share of ageing that follows distance (1: distance only, 0: time only); `pf_km` the distance, on
    the mixed clock, from the first visible sign to failure (0: no sign can be seen, the part is hidden).
    """

    km: int
    years: float
    cv: float
    pf_km: int
    km_weight: float
    source: str = COMMON_PRACTICE


class Damage(_Entry, frozen=True, kw_only=True):
    """What else suffers when this part is left in a bad state.

    `factor` multiplies the ageing of `part` while this part is graded `from_grade` or worse; `eur` is the usual cost
    of the damage done by the time this part fails.
    """

    part: str
    factor: float
    from_grade: Literal["major", "dangerous"] = "major"
    eur: int
    why: str


class Failure(_Entry, frozen=True, kw_only=True):
    """What a failure on the road costs beyond the planned job.

    `cost_factor` multiplies the planned job (1.3 to 1.6: out of hours, more broken); `tow` adds a recovery;
    `incident_eur` is what it causes beside; of tow, incident and damages the books count `HARM_FRACTION`, since most
    parts announce their end; `danger_eur_per_1000_km` the cost of driving a
    safety part in the state `dangerous` (5 to 100), a tenth of it in `major`.
    """

    what: str
    cost_factor: float = 1.4
    tow: bool = False
    incident_eur: int = 0
    danger_eur_per_1000_km: int = 0
    damages: tuple[Damage, ...] = ()


class Limit(_Entry, frozen=True, kw_only=True):
    """The value at which a measurement becomes `major`, under one scheme of rules ("eu", "uk", "us", "trade")."""

    scheme: Literal["eu", "uk", "us", "trade"]
    value: float
    source: str


class Measurement(_Entry, frozen=True, kw_only=True):
    """A figure to read off: it `falls` from new to the limit (a pad) or `rises` (free play, water in brake fluid).

    `minor` is where one begins to plan, `limits` where it is `major` (the first is the default scheme), `dangerous`
    where the vehicle must not be driven (absent: never by this figure alone). `least` and `most` bound what can be
    true; anything outside is refused. `noise_sd` is the spread of repeated readings by a careful person. `wears` is
    false for figures that jump about instead of wearing steadily (tyre pressure, battery voltage).
    """

    unit: str
    new: float
    direction: Literal["falls", "rises"]
    minor: float
    limits: tuple[Limit, ...]
    dangerous: float | None = None
    least: float
    most: float
    noise_sd: float
    wears: bool = True


class Observation(_Entry, frozen=True, kw_only=True):
    """One thing that may be seen, and the grade it means."""

    key: str
    title: str
    grade: GradeWord


class Check(_Entry, frozen=True, kw_only=True):
    """How a part is examined. `sheets` names the shorter sheets that include it; `full` includes every check.

    `method` is what a person reads under the car, the decisive act in its first sentence. A `measurement` or a set of
    `observations` must be there; a measured check may have observations too.
    """

    key: str
    title: str
    station: str
    method: str
    tool: str
    minutes: float
    cautions: tuple[str, ...] = ()
    observations: tuple[Observation, ...] = ()
    measurement: Measurement | None = None
    sheets: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    eu_item: str | None = None
    source: str = COMMON_PRACTICE


class Job(_Entry, frozen=True, kw_only=True):
    """A remedy. `scope` says what one job covers: the one position, every position on the axle, or all of them.

    `hours` and `parts_eur` are for one position (scope position), one axle, or the vehicle; they leave out the
    access, which is counted once a visit. `renews` is true when the part is as new afterwards.

    An access that repeats a corner or an axle ("wheel-off") follows the job's own position; where the part has no
    such position, or more wheels must come off than its own, it is named with its place: "wheel-off.front" (both
    front wheels), "wheel-off.rear-left", "wheel-off.left".

    `puts_right` says of a job that does not renew which defects it remedies: an observation ("surface.lip": check and
    observation) or a figure past its limit ("runout": the check). It is offered for these and nothing else.
    """

    key: str
    kind: Kind
    title: str
    hours: float
    parts_eur: EuroRange
    scope: Literal["position", "axle", "vehicle"] = "position"
    access: tuple[str, ...] = ()
    follow_ups: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    consumables: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    difficulty: Literal[1, 2, 3, 4, 5] = 2
    licensed: bool = False
    renews: bool = True
    puts_right: tuple[str, ...] = ()


class Part(_Entry, frozen=True, kw_only=True):
    """A kind of thing that wears, ages or fails.

    `positions` are places on the vehicle; empty means there is one. `needs` are trait conditions that must all hold
    ("drive=front|four"); `position_needs` adds conditions for single positions.
    """

    key: str
    title: str
    safety: bool = False
    positions: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    position_needs: dict[str, tuple[str, ...]] = {}
    life: Life
    failure: Failure
    checks: tuple[Check, ...]
    jobs: tuple[Job, ...]


class SystemFile(_Entry, frozen=True, kw_only=True):
    """One file: a system of the vehicle with its parts. `eu_group` is the item group of Directive 2014/45/EU."""

    key: str
    title: str
    eu_group: int
    parts: tuple[Part, ...]


class Station(_Entry, frozen=True, kw_only=True):
    """Where you stand and how the vehicle stands. `per` corner: the station repeats for each position of a wheel.

    `raises` is the end of the vehicle that must be off the ground ("corner": the end the corner belongs to).
    """

    key: str
    title: str
    stance: str
    per: Literal["vehicle", "corner"] = "vehicle"
    raises: Literal["none", "front", "rear", "either", "corner"] = "none"
    cautions: tuple[str, ...] = ()
    setup_minutes: float = 0.0


class Caution(_Entry, frozen=True, kw_only=True):
    """A warning shown before the step."""

    key: str
    text: str
    source: str = COMMON_PRACTICE


class Access(_Entry, frozen=True, kw_only=True):
    """Dismantling that several jobs share, counted once; `per` corner means once a wheel."""

    key: str
    title: str
    hours: float
    per: Literal["vehicle", "corner", "axle"] = "vehicle"
    cautions: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()


class FollowUp(_Entry, frozen=True, kw_only=True):
    """What a job obliges, once a visit. `after_km` is the distance at which it falls due (0: at once)."""

    key: str
    title: str
    hours: float
    eur: int
    after_km: int = 0


class Sheet(_Entry, frozen=True, kw_only=True):
    """A named choice of checks for a purpose."""

    key: str
    title: str
    purpose: str


class TraitValue(_Entry, frozen=True, kw_only=True):
    key: str
    title: str


class ImpliedValue(_Entry, frozen=True, kw_only=True):
    """The value assumed instead of the default when another trait, listed before this one, has a certain value."""

    when: str
    value: str


class Trait(_Entry, frozen=True, kw_only=True):
    """A property of a vehicle that decides which checks apply.

    When nothing is said, the first of `implied` whose condition holds decides, else `default`.
    """

    key: str
    title: str
    values: tuple[TraitValue, ...]
    default: str
    implied: tuple[ImpliedValue, ...] = ()
