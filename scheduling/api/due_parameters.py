"""How lists of due items are narrowed: every unknown word is a fault."""

from typing import Any

from fleetcare.kernel.errors import InvalidInput
from scheduling.core.due import State
from scheduling.words import DueKind

FILTERS = ("state", "kind", "closed")
_STATES = {state.word: int(state) for state in State}


def conditions_of(parameters: Any) -> dict[str, Any]:
    """Conditions on the rows; raises InvalidInput naming the parameter that says what does not exist."""
    conditions: dict[str, Any] = {}
    states = parameters.getlist("state")
    odd = sorted(set(states) - set(_STATES))
    if odd:
        raise InvalidInput.at("/state", "unknown", f"States are: {', '.join(_STATES)}.")
    if states:
        conditions["state__in"] = [_STATES[state] for state in states]
    kind = parameters.get("kind")
    if kind is not None:
        if kind not in DueKind.values:
            raise InvalidInput.at("/kind", "unknown", f"Kinds are: {', '.join(DueKind.values)}.")
        conditions["kind"] = kind
    closed = parameters.get("closed", "false")
    if closed not in {"true", "false"}:
        raise InvalidInput.at("/closed", "unknown", "true or false.")
    return {**conditions, "open_only": closed == "false", **({"closed_on__isnull": False} if closed == "true" else {})}
