"""Traits are stored here and understood above: the catalogue registers what it accepts."""

from collections.abc import Callable, Mapping

from fleetcare.kernel.errors import Fault

TraitCheck = Callable[[Mapping[str, str]], list[Fault]]


def _nothing_known(traits: Mapping[str, str]) -> list[Fault]:
    return [Fault(f"/{name}", "unknown-trait", "No catalogue is loaded that knows traits.") for name in traits]


_checks: list[TraitCheck] = [_nothing_known]


def register(check: TraitCheck) -> None:
    """Takes over the judgement of traits; called once when the catalogue's app is ready."""
    _checks[0] = check


def trait_faults(traits: Mapping[str, str]) -> list[Fault]:
    """What is wrong with a vehicle's traits; pointers start at the mapping."""
    return _checks[0](traits)
