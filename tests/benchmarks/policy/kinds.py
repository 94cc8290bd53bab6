"""The parts of an invented car: 67 positions of 29 kinds, 19 shared operations, 17 ways in which one wears another.

Lives, spreads, distances from first sign to failure, prices, hours and dangers are common practice, no source; they
are what a mechanic would enter. Distances are in thousands of km, money in euros.
"""

from dataclasses import dataclass

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
FRONT, REAR = CORNERS[:2], CORNERS[2:]
ARMS = ("front-left-fore", "front-left-aft", "front-right-fore", "front-right-aft")
SIDES = ("left", "right")
MOUNTS = ("right", "rear", "gearbox")
HOSES = ("upper", "lower", "heater-in", "heater-out")

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
_SHAFT = ("wheel-off.front-{p}", "shaft-out.{p}")
_ALIGN = ("front-aligned",)

MEASURED = (
    _measured("front-pads", ("front",), 45, 0.30, 0.95, parts_eur=55, hours=0.6,
              access=(*_FRONT_WHEELS, "caliper-off.front"), factor=1.5, tow=0.2, mishap_eur=345, danger_eur=35),
    _measured("rear-pads", ("rear",), 65, 0.30, 0.9, parts_eur=50, hours=0.6,
              access=(*_REAR_WHEELS, "caliper-off.rear"), factor=1.5, tow=0.2, mishap_eur=210, danger_eur=20),
    _measured("tyre", CORNERS, 45, 0.25, 0.95, parts_eur=85, hours=0.3, access=_WHEEL, factor=1.3, tow=0.6,
              mishap_eur=200, danger_eur=25),
    _measured("front-discs", ("front",), 110, 0.27, 0.9, parts_eur=130, hours=0.7,
              access=(*_FRONT_WHEELS, "caliper-off.front"), factor=1.3, tow=0.1, mishap_eur=120, danger_eur=14),
    _measured("rear-discs", ("rear",), 130, 0.27, 0.85, parts_eur=120, hours=0.7,
              access=(*_REAR_WHEELS, "caliper-off.rear"), factor=1.3, tow=0.1, mishap_eur=80, danger_eur=9),
    _measured("battery", ("",), 80, 0.30, 0.2, parts_eur=110, hours=0.2, factor=1.3, tow=0.6),
)  # fmt: skip

GRADED = (
    Kind("ball-joint", FRONT, 200, 0.35, 35, 0.9, 40, 0.9, _WHEEL, _ALIGN, 1.5, 0.9, 720, 90),
    Kind("tie-rod-end", FRONT, 195, 0.35, 35, 0.9, 30, 0.4, _WHEEL, _ALIGN, 1.5, 0.8, 560, 70),
    Kind("inner-tie-rod", FRONT, 210, 0.35, 35, 0.9, 40, 0.8, _WHEEL, _ALIGN, 1.5, 0.7, 480, 65),
    Kind("arm-bush", ARMS, 230, 0.35, 60, 0.7, 35, 1.2, ("wheel-off.{wheel}",), _ALIGN, 1.4, 0.1, 65, 14),
    Kind("rear-axle-bush", REAR, 255, 0.35, 63, 0.7, 45, 1.2, (*_WHEEL, "rear-axle-lowered"), ("rear-aligned",), 1.4,
         0.1, 65, 14),
    Kind("bar-link", CORNERS, 210, 0.35, 35, 0.8, 25, 0.4, _WHEEL, (), 1.3, 0.0, 15, 5),
    Kind("bar-bush", ("",), 210, 0.35, 56, 0.7, 15, 0.6, ("undertray-off",), (), 1.3),
    Kind("shock", FRONT, 200, 0.35, 56, 0.9, 80, 0.8, (*_WHEEL, "strut-out.{p}"), _ALIGN, 1.3, 0.1, 95, 20),
    Kind("rear-shock", REAR, 210, 0.35, 56, 0.9, 65, 0.7, _WHEEL, (), 1.3, 0.1, 95, 20),
    Kind("top-mount", FRONT, 225, 0.35, 49, 0.7, 40, 0.4, (*_WHEEL, "strut-out.{p}"), _ALIGN, 1.3, 0.0, 50, 9),
    Kind("engine-mount", MOUNTS, 225, 0.35, 49, 0.6, 70, 0.9, ("engine-supported", "undertray-off"), (), 1.4, 0.1, 50),
    Kind("outer-boot", SIDES, 200, 0.35, 35, 0.6, 25, 0.7, _SHAFT, (), 1.4, 0.1, 120),
    Kind("inner-boot", SIDES, 220, 0.35, 42, 0.6, 25, 0.7, _SHAFT, (), 1.4, 0.1, 120),
    Kind("outer-joint", SIDES, 240, 0.35, 35, 0.8, 105, 0.5, _SHAFT, (), 1.4, 0.9, 240, 25),
    Kind("wheel-bearing", CORNERS, 255, 0.35, 28, 1.0, 70, 1.2, _WHEEL, (), 1.5, 0.7, 400, 55),
    Kind("brake-hose", CORNERS, 260, 0.35, 40, 0.3, 25, 0.4, _WHEEL, ("brakes-bled",), 1.5, 0.8, 720, 70),
    Kind("coolant-hose", HOSES, 260, 0.35, 38, 0.3, 30, 0.5, ("coolant-drained",), (), 1.6, 0.9, 320),
    Kind("water-pump", ("",), 210, 0.35, 17, 0.8, 80, 1.6, ("coolant-drained", "belt-off"), (), 1.6, 1.0, 400),
    Kind("belt", ("",), 200, 0.35, 40, 0.5, 30, 0.2, ("belt-off",), (), 1.5, 0.9, 65),
    Kind("front-caliper", FRONT, 240, 0.35, 40, 0.5, 105, 0.7, _WHEEL, ("brakes-bled",), 1.4, 0.3, 200, 25),
)  # fmt: skip

HIDDEN = (
    Kind("ignition-coil", ("1", "2", "3", "4"), 300, 0.45, 0, 0.7, 50, 0.3, ("intake-off",), (), 1.3, 0.3, 15),
    Kind("crank-sensor", ("",), 280, 0.50, 0, 0.7, 40, 0.5, ("undertray-off",), (), 1.4, 0.9),
    Kind("cam-sensor", ("",), 290, 0.50, 0, 0.7, 40, 0.4, ("intake-off",), (), 1.4, 0.4),
    Kind("oxygen-sensor", ("",), 270, 0.50, 0, 0.9, 90, 0.5, (), (), 1.3),
    Kind("alternator", ("",), 310, 0.45, 0, 0.8, 230, 0.9, ("belt-off",), (), 1.4, 0.8),
    Kind("starter", ("",), 330, 0.45, 0, 0.5, 160, 0.9, ("undertray-off",), (), 1.4, 0.8),
    Kind("fuel-pump", ("",), 340, 0.45, 0, 0.7, 140, 1.0, (), (), 1.5, 1.0, 25),
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
COUPLINGS = (
    *(Coupling(("outer-boot", side), _MAJOR, ("outer-joint", side), 6.0) for side in SIDES),
    Coupling(("front-pads", "front"), _DANGEROUS, ("front-discs", "front"), 8.0),
    Coupling(("rear-pads", "rear"), _DANGEROUS, ("rear-discs", "rear"), 8.0),
    *(
        Coupling(("engine-mount", bad), _DANGEROUS, ("engine-mount", other), 2.5)
        for bad in MOUNTS
        for other in MOUNTS
        if bad != other
    ),
    *(Coupling(("shock", p), _MAJOR, ("tyre", p), 1.8) for p in FRONT),
    *(Coupling(("rear-shock", p), _MAJOR, ("tyre", p), 1.8) for p in REAR),
    *(Coupling(("front-caliper", p), _MAJOR, ("front-pads", "front"), 2.5) for p in FRONT),
    Coupling(("belt", ""), _MAJOR, ("water-pump", ""), 1.5),
)
