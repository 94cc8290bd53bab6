"""Which units of dismantling a job opens, so that jobs sharing one count it once."""

from collections.abc import Mapping
from typing import Literal

from inspections.catalogue.positions import POSITIONS, axle_of, corners_of
from inspections.catalogue.schema import Access

Scope = Literal["position", "axle", "vehicle"]


def place_access(
    reference: str, scope: Scope, position: str, positions: tuple[str, ...], access: Mapping[str, Access]
) -> tuple[str, ...]:
    """The units that an access named in a job stands for, when the job is done at a position of its part.

    An access of the whole vehicle is one unit under its own key ("undertray-off"). One per corner or axle is a unit
    for each ("wheel-off.front-right"): the place named in the reference if there is one, else the job's position,
    widened to its axle for a job of scope axle and to all of the part's positions for scope vehicle.

    Raises ValueError when the access is unknown or there is no telling at which wheel.
    """
    key, dot, place = reference.partition(".")
    if key not in access:
        raise ValueError(f'unknown access "{key}"')
    per = access[key].per
    if per == "vehicle":
        if dot:
            raise ValueError(f'"{reference}": {key} is of the whole vehicle and takes no place')
        return (key,)
    if place and not corners_of(place):
        raise ValueError(f'"{reference}": "{place}" is no place with wheels (one of {", ".join(POSITIONS[:8])})')
    corners = _corners(place, scope, position, positions)
    if not corners:
        raise ValueError(f'"{reference}": say at which wheel, as in "{key}.front" (the part has no such position)')
    places = corners if per == "corner" else dict.fromkeys(axle_of(corner) for corner in corners)
    return tuple(f"{key}.{where}" for where in places)


def _corners(place: str, scope: Scope, position: str, positions: tuple[str, ...]) -> tuple[str, ...]:
    if place:
        return corners_of(place)
    if scope == "position":
        return corners_of(position)
    if scope == "axle":
        return corners_of(axle_of(position))
    return tuple(dict.fromkeys(corner for each in positions for corner in corners_of(each)))
