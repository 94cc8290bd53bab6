"""Input that says exactly what it means: unknown fields and unknown query parameters are faults, not noise."""

from collections.abc import Iterable, Mapping
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

UNKNOWN = "There is no such field here."


class StrictSerializer(serializers.Serializer[Any]):
    """A serializer for input: collects every fault, unknown fields among them, in one go."""

    def to_internal_value(self, data: Any) -> Any:
        faults: dict[str, Any] = {}
        if isinstance(data, Mapping):
            known = {field.field_name for field in self._writable_fields}
            faults = {str(name): [ErrorDetail(UNKNOWN, "unknown")] for name in data if name not in known}
        try:
            value = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**_as_dict(error.detail), **faults}) from error
        if faults:
            raise ValidationError(faults)
        return value


def _as_dict(detail: Any) -> dict[str, Any]:
    return detail if isinstance(detail, dict) else {"non_field_errors": detail}


def refuse_unknown_parameters(given: Iterable[str], known: Iterable[str]) -> None:
    """Raises ValidationError naming each query parameter that would silently do nothing."""
    allowed = sorted(set(known))
    odd = sorted(set(given) - set(allowed))
    if odd:
        hint = f"Known here: {', '.join(allowed)}." if allowed else "This address takes none."
        raise ValidationError({name: [ErrorDetail(f"There is no such parameter. {hint}", "unknown")] for name in odd})
