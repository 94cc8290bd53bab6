"""The places on a vehicle, and which wheels each of them touches."""

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
AXLES = ("front", "rear")
SIDES = ("left", "right")
CYLINDERS = tuple(f"cylinder-{number}" for number in range(1, 9))
BANKS = tuple(f"bank-{bank}-{side}-catalyst" for bank in (1, 2) for side in ("before", "after"))

POSITIONS: tuple[str, ...] = (*CORNERS, *AXLES, *SIDES, *CYLINDERS, *BANKS)

_WORKING_CORNER = {"rear": "rear-left", "right": "front-right"}


def corners_of(position: str) -> tuple[str, ...]:
    """The wheels that belong to a position: one of a corner, two of an axle or a side, none of anything else."""
    if position in CORNERS:
        return (position,)
    if position in AXLES:
        return tuple(corner for corner in CORNERS if corner.startswith(position))
    if position in SIDES:
        return tuple(corner for corner in CORNERS if corner.endswith(position))
    return ()


def axle_of(position: str) -> str:
    """The axle ("front" or "rear") a position lies on; empty where it lies on none or on both."""
    return next((axle for axle in AXLES if position == axle or position.startswith(f"{axle}-")), "")


def working_corner(position: str) -> str:
    """The raised corner at which a position is looked at.

    A corner is its own. An axle is looked at from its left corner, a side from its front corner, and what has no
    place of its own (or one inside the engine) from the front left.
    """
    return position if position in CORNERS else _WORKING_CORNER.get(position, "front-left")
