"""Input that says exactly what it means: unknown fields and unknown query parameters are faults, not noise."""

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

UNKNOWN = "There is no such field here."
_MOST_UNKNOWN = 20
"""Unknown fields of one object that are named; who sends more has more to do than to correct names."""


class StrictSerializer(serializers.Serializer[Any]):
    """A serializer for input: collects every fault, unknown fields among them, in one go."""

    def to_internal_value(self, data: Any) -> Any:
        faults: dict[str, Any] = {}
        if isinstance(data, Mapping):
            self._refuse_long_lists(data)
            known = {field.field_name for field in self._writable_fields}
            unknown = islice((name for name in data if name not in known), _MOST_UNKNOWN)
            faults = {str(name): [ErrorDetail(UNKNOWN, "unknown")] for name in unknown}
        try:
            value = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**_as_dict(error.detail), **faults}) from error
        if faults:
            raise ValidationError(faults)
        return value

    def _refuse_long_lists(self, data: Mapping[Any, Any]) -> None:
        """Counts before anything in a list is looked at: a hundred thousand items would be looked at for seconds."""
        faults: dict[str, Any] = {}
        for field in self._writable_fields:
            given = data.get(field.field_name) if isinstance(field, serializers.ListField) else None
            most = getattr(field, "max_length", None)
            if isinstance(given, list) and most is not None and len(given) > most:
                faults[str(field.field_name)] = [ErrorDetail(f"At most {most} items are taken at once.", "max_length")]
        if faults:
            raise ValidationError(faults)


def _as_dict(detail: Any) -> dict[str, Any]:
    return detail if isinstance(detail, dict) else {"non_field_errors": detail}


def refuse_unknown_parameters(given: Mapping[str, str], known: Iterable[str]) -> None:
    """Raises ValidationError naming each query parameter that would silently do nothing, or that holds a NUL."""
    # No database takes one in a text, and one of them fails on it.
    empty: dict[str, Any] = {
        name: [ErrorDetail("A NUL is in no text.", "nul")] for name in given if "\0" in given[name]
    }
    if empty:
        raise ValidationError(empty)
    allowed = sorted(set(known))
    odd = sorted(set(given) - set(allowed))[:_MOST_UNKNOWN]
    if odd:
        hint = f"Known here: {', '.join(allowed)}." if allowed else "This address takes none."
        raise ValidationError({name: [ErrorDetail(f"There is no such parameter. {hint}", "unknown")] for name in odd})
