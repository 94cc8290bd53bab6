"""The parts of an invented car: 67 positions of 29 kinds, 19 shared operations, 17 ways in which one wears another.

Lives, spreads, distances from first sign to failure, prices, hours and dangers are common practice, no source; they
are what a mechanic would enter. Distances are in thousands of km, money in euros.
"""

from dataclasses import dataclass

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
FRONT = CORNERS[:2]
ARMS = ("front-left-fore", "front-left-aft", "front-right-fore", "front-right-aft")
SIDES = ("left", "right")

OPERATION_HOURS_EUR = {
    "wheel-off.front-left": (0.25, 0.0),
    "wheel-off.front-right": (0.25, 0.0),
    "wheel-off.rear-left": (0.25, 0.0),
    "wheel-off.rear-right": (0.25, 0.0),
    "caliper-off.front": (0.4, 0.0),
    "caliper-off.rear": (0.4, 0.0),
    "strut-out.front-left": (1.0, 0.0),
    "strut-out.front-right": (1.0, 0.0),
    "shaft-out.left": (0.9, 0.0),
    "shaft-out.right": (0.9, 0.0),
    "undertray-off": (0.4, 0.0),
    "coolant-drained": (0.6, 12.0),
    "engine-supported": (0.5, 0.0),
    "intake-off": (0.6, 0.0),
    "belt-off": (0.4, 0.0),
    "rear-axle-lowered": (1.0, 0.0),
    "front-aligned": (0.2, 50.0),
    "rear-aligned": (0.2, 50.0),
    "brakes-bled": (0.5, 10.0),
}
"""Access and follow-ups: done once a visit, however many jobs need them."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of part; `{p}` in the names of shared operations stands for its position."""

    key: str
    positions: tuple[str, ...]
    life: float
    cv: float
    pf: float
    """First sign to failure; 0 where none can be seen."""
    km_weight: float
    parts_eur: float
    hours: float
    access: tuple[str, ...] = ()
    follow_ups: tuple[str, ...] = ()
    factor: float = 1.4
    """What a failure makes of the planned job's cost."""
    tow: float = 0.0
    """Chance that a failure strands the car."""
    mishap_eur: float = 0.0
    """What a failure may cause beside the repair, and what it ruins: an expected sum."""
    danger_eur: float = 0.0
    """Exposure for each 1,000 km driven while it is dangerous; above 0 for safety parts only."""
    measured: bool = False


def _measured(key: str, positions: tuple[str, ...], life: float, cv: float, km_weight: float, **more: object) -> Kind:
    return Kind(key, positions, life, cv, life / 3.0, km_weight, measured=True, **more)  # type: ignore[arg-type]


_WHEEL = ("wheel-off.{p}",)
_FRONT_WHEELS = ("wheel-off.front-left", "wheel-off.front-right")
_REAR_WHEELS = ("wheel-off.rear-left", "wheel-off.rear-right")
_ALIGN = ("front-aligned",)

MEASURED = (
    _measured("front-pads", ("front",), 45, 0.30, 0.95, parts_eur=50, hours=0.6,
              access=(*_FRONT_WHEELS, "caliper-off.front"), factor=1.5, tow=0.2, mishap_eur=430, danger_eur=40),
    _measured("rear-pads", ("rear",), 65, 0.30, 0.9, parts_eur=45, hours=0.6,
              access=(*_REAR_WHEELS, "caliper-off.rear"), factor=1.5, tow=0.2, mishap_eur=260, danger_eur=20),
    _measured("tyre", CORNERS, 45, 0.25, 0.95, parts_eur=75, hours=0.3, access=_WHEEL, factor=1.3, tow=0.6,
              mishap_eur=250, danger_eur=30),
    _measured("front-discs", ("front",), 110, 0.27, 0.9, parts_eur=115, hours=0.7,
              access=(*_FRONT_WHEELS, "caliper-off.front"), factor=1.3, tow=0.1, mishap_eur=150, danger_eur=15),
    _measured("rear-discs", ("rear",), 130, 0.27, 0.85, parts_eur=105, hours=0.7,
              access=(*_REAR_WHEELS, "caliper-off.rear"), factor=1.3, tow=0.1, mishap_eur=100, danger_eur=10),
    _measured("battery", ("",), 80, 0.30, 0.2, parts_eur=95, hours=0.2, factor=1.3, tow=0.6),
)  # fmt: skip

GRADED = (
    Kind("ball-joint", FRONT, 200, 0.35, 35, 0.9, 35, 0.9, _WHEEL, _ALIGN, 1.5, 0.9, 900, 100),
    Kind("tie-rod-end", FRONT, 195, 0.35, 35, 0.9, 25, 0.4, _WHEEL, _ALIGN, 1.5, 0.8, 700, 80),
    Kind("inner-tie-rod", FRONT, 210, 0.35, 35, 0.9, 35, 0.8, _WHEEL, _ALIGN, 1.5, 0.7, 600, 70),
    Kind("arm-bush", ARMS, 230, 0.35, 60, 0.7, 30, 1.2, ("wheel-off.{wheel}",), _ALIGN, 1.4, 0.1, 80, 15),
    Kind("rear-axle-bush", ("rear-left", "rear-right"), 255, 0.35, 63, 0.7, 40, 1.2,
         ("wheel-off.{p}", "rear-axle-lowered"), ("rear-aligned",), 1.4, 0.1, 80, 15),
    Kind("bar-link", CORNERS, 210, 0.35, 35, 0.8, 20, 0.4, _WHEEL, (), 1.3, 0.0, 20, 5),
    Kind("bar-bush", ("",), 210, 0.35, 56, 0.7, 15, 0.6, ("undertray-off",), (), 1.3),
    Kind("shock", FRONT, 200, 0.35, 56, 0.9, 70, 0.8, ("wheel-off.{p}", "strut-out.{p}"), _ALIGN, 1.3, 0.1, 120, 25),
    Kind("rear-shock", ("rear-left", "rear-right"), 210, 0.35, 56, 0.9, 55, 0.7, _WHEEL, (), 1.3, 0.1, 120, 25),
    Kind("top-mount", FRONT, 225, 0.35, 49, 0.7, 35, 0.4, ("wheel-off.{p}", "strut-out.{p}"), _ALIGN, 1.3, 0.0, 60, 10),
    Kind("engine-mount", ("right", "rear", "gearbox"), 225, 0.35, 49, 0.6, 60, 0.9,
         ("engine-supported", "undertray-off"), (), 1.4, 0.1, 60),
    Kind("outer-boot", SIDES, 200, 0.35, 35, 0.6, 20, 0.7, ("wheel-off.front-{p}", "shaft-out.{p}"), (), 1.4, 0.1, 150),
    Kind("inner-boot", SIDES, 220, 0.35, 42, 0.6, 20, 0.7, ("wheel-off.front-{p}", "shaft-out.{p}"), (), 1.4, 0.1, 150),
    Kind("outer-joint", SIDES, 240, 0.35, 35, 0.8, 90, 0.5, ("wheel-off.front-{p}", "shaft-out.{p}"), (), 1.4, 0.9,
         300, 30),
    Kind("wheel-bearing", CORNERS, 255, 0.35, 28, 1.0, 60, 1.2, _WHEEL, (), 1.5, 0.7, 500, 60),
    Kind("brake-hose", CORNERS, 260, 0.35, 40, 0.3, 20, 0.4, _WHEEL, ("brakes-bled",), 1.5, 0.8, 900, 80),
    Kind("coolant-hose", ("upper", "lower", "heater-in", "heater-out"), 260, 0.35, 38, 0.3, 25, 0.5,
         ("coolant-drained",), (), 1.6, 0.9, 400),
    Kind("water-pump", ("",), 210, 0.35, 17, 0.8, 70, 1.6, ("coolant-drained", "belt-off"), (), 1.6, 1.0, 500),
    Kind("belt", ("",), 200, 0.35, 40, 0.5, 25, 0.2, ("belt-off",), (), 1.5, 0.9, 80),
    Kind("front-caliper", FRONT, 240, 0.35, 40, 0.5, 90, 0.7, _WHEEL, ("brakes-bled",), 1.4, 0.3, 250, 30),
)  # fmt: skip

HIDDEN = (
    Kind("ignition-coil", ("1", "2", "3", "4"), 300, 0.45, 0, 0.7, 45, 0.3, ("intake-off",), (), 1.3, 0.3, 20),
    Kind("crank-sensor", ("",), 280, 0.50, 0, 0.7, 35, 0.5, ("undertray-off",), (), 1.4, 0.9),
    Kind("cam-sensor", ("",), 290, 0.50, 0, 0.7, 35, 0.4, ("intake-off",), (), 1.4, 0.4),
    Kind("oxygen-sensor", ("",), 270, 0.50, 0, 0.9, 80, 0.5, (), (), 1.3),
    Kind("alternator", ("",), 310, 0.45, 0, 0.8, 200, 0.9, ("belt-off",), (), 1.4, 0.8),
    Kind("starter", ("",), 330, 0.45, 0, 0.5, 140, 0.9, ("undertray-off",), (), 1.4, 0.8),
    Kind("fuel-pump", ("",), 340, 0.45, 0, 0.7, 120, 1.0, (), (), 1.5, 1.0, 30),
)

KINDS = (*MEASURED, *GRADED, *HIDDEN)


@dataclass(frozen=True, slots=True)
class Coupling:
    """While one part is at least in a grade, another ages faster by a factor; parts are (kind, position)."""

    source: tuple[str, str]
    from_grade: int
    target: tuple[str, str]
    factor: float


_MAJOR, _DANGEROUS = 2, 3
_MOUNTS = ("right", "rear", "gearbox")

COUPLINGS = (
    *(Coupling(("outer-boot", side), _MAJOR, ("outer-joint", side), 6.0) for side in SIDES),
    Coupling(("front-pads", "front"), _DANGEROUS, ("front-discs", "front"), 8.0),
    Coupling(("rear-pads", "rear"), _DANGEROUS, ("rear-discs", "rear"), 8.0),
    *(
        Coupling(("engine-mount", bad), _DANGEROUS, ("engine-mount", other), 2.5)
        for bad in _MOUNTS
        for other in _MOUNTS
        if bad != other
    ),
    *(Coupling(("shock", p), _MAJOR, ("tyre", p), 1.8) for p in FRONT),
    *(Coupling(("rear-shock", p), _MAJOR, ("tyre", p), 1.8) for p in CORNERS[2:]),
    *(Coupling(("front-caliper", p), _MAJOR, ("front-pads", "front"), 2.5) for p in FRONT),
    Coupling(("belt", ""), _MAJOR, ("water-pump", ""), 1.5),
)
