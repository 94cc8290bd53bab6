"""What must be true of a measurement's figures. Each rule yields (field, message)."""

from collections.abc import Iterator
from itertools import pairwise

from inspections.catalogue.schema import Limit, Measurement

Complaint = tuple[str, str]


def measurement_complaints(measurement: Measurement) -> Iterator[Complaint]:
    """Every fault of a measurement: thresholds in order of getting worse, inside the bounds, each with a source."""
    if not measurement.unit.strip():
        yield "unit", "is empty"
    if not measurement.noise_sd > 0:
        yield "noise_sd", f"must be positive, not {measurement.noise_sd:g}"
    if not measurement.limits:
        yield "limits", "a measurement needs at least one limit"
    yield from _limit_complaints(measurement.limits)
    yield from _order_complaints(measurement)
    yield from _bound_complaints(measurement)


def _limit_complaints(limits: tuple[Limit, ...]) -> Iterator[Complaint]:
    seen: set[str] = set()
    for limit in limits:
        if limit.scheme in seen:
            yield f"limits[{limit.scheme}]", "the scheme is there twice"
        if not limit.source.strip():
            yield f"limits[{limit.scheme}].source", "is empty"
        seen.add(limit.scheme)


def _order_complaints(measurement: Measurement) -> Iterator[Complaint]:
    sign = 1.0 if measurement.direction == "rises" else -1.0
    for limit in measurement.limits:
        steps = [("new", measurement.new), ("minor", measurement.minor), (f"limits[{limit.scheme}]", limit.value)]
        if measurement.dangerous is not None:
            steps.append(("dangerous", measurement.dangerous))
        for (before, earlier), (field, later) in pairwise(steps):
            if not sign * (later - earlier) >= 0:
                yield field, f"{later:g} comes before {before} ({earlier:g}) in a value that {measurement.direction}"


def _bound_complaints(measurement: Measurement) -> Iterator[Complaint]:
    if not measurement.least < measurement.most:
        yield "least", f"must lie below most ({measurement.most:g}), not {measurement.least:g}"
    figures = [("new", measurement.new), ("minor", measurement.minor)]
    figures += [(f"limits[{limit.scheme}]", limit.value) for limit in measurement.limits]
    figures += [("dangerous", measurement.dangerous)] if measurement.dangerous is not None else []
    for field, figure in figures:
        if not measurement.least <= figure <= measurement.most:
            yield field, f"{figure:g} lies outside {measurement.least:g} to {measurement.most:g}"
