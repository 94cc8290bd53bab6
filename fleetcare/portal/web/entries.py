"""Forms of pages: what was typed is checked by the API's own rules, and each fault stands beside its field."""

import uuid
from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from rest_framework.exceptions import ValidationError

from fleetcare.fleet.access import Access
from fleetcare.kernel.errors import DomainError, Fault, NotFound
from fleetcare.support.problems import faults_of
from fleetcare.support.strict import StrictSerializer


class EntryForm(forms.Form):
    """Fields as they are shown and kept; it holds no rules, those are the serializer's and the service's.

    A fault is shown at the field named like the first part of its pointer, or where `places` says.
    """

    places: Mapping[str, str] = {}

    def put(self, faults: list[Fault]) -> None:
        """Shows faults beside their fields, the others above the form."""
        for fault in faults:
            parts = fault.pointer.strip("/").split("/")
            at = self.places.get(fault.pointer) or next((name for name in parts if name in self.fields), None)
            self.add_error(at, fault.detail)

    def said(self, *names: str) -> dict[str, Any]:
        """What was typed in these fields, empty ones left out."""
        return {name: self.cleaned_data[name] for name in names if self.cleaned_data.get(name) not in {"", None}}


def done(form: EntryForm, act: Callable[[], Any]) -> bool:
    """Whether the act went through; otherwise its faults stand in the form. Not yours stays not yours."""
    try:
        act()
    except ValidationError as error:
        form.put(list(faults_of(error.detail)))
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        form.put(list(error.faults) or [Fault("", error.code, error.detail)])
    return form.is_valid()


def checked(serializer: type[StrictSerializer], body: Mapping[str, Any], access: Access | None = None) -> Any:
    """The body by the API's rules; raises ValidationError naming every fault."""
    entry = serializer(data=dict(body), context={"access": access} if access else {})
    entry.is_valid(raise_exception=True)
    return entry.validated_data


def text(label: Any, *, kind: str = "text", **attributes: Any) -> forms.CharField:
    """A line of text; `kind` is the input's type."""
    widget = forms.TextInput(attrs={"type": kind, **attributes})
    return forms.CharField(label=label, required=False, strip=True, widget=widget)


class _Choice(forms.ChoiceField):
    """Offers choices without judging: what there is to choose from is the API's rule, told with all other faults."""

    def valid_value(self, value: Any) -> bool:
        return True


def choice(label: Any, choices: Any, **options: Any) -> forms.ChoiceField:
    """One of some words."""
    return _Choice(label=label, choices=choices, required=False, **options)


def tick(label: Any) -> forms.BooleanField:
    """Yes or no."""
    return forms.BooleanField(label=label, required=False)


def id_of(said: str) -> uuid.UUID:
    """An id that a form's button or hidden field says; raises NotFound where it is none."""
    try:
        return uuid.UUID(said)
    except ValueError as error:
        raise NotFound from error


def words_of(label: Any, most: int) -> forms.CharField:
    """Several lines of text."""
    return forms.CharField(label=label, required=False, widget=forms.Textarea(attrs={"rows": 3, "maxlength": most}))
