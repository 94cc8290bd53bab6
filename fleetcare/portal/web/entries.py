"""Forms of pages: what was typed is checked by the API's own rules, and each fault stands beside its field."""

import uuid
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from django import forms
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from rest_framework.exceptions import ValidationError

from fleetcare.fleet.access import Access
from fleetcare.kernel.errors import DomainError, Fault, NotFound
from fleetcare.portal.web.presenters import words
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
            self.add_error(at, words.told(fault.detail))

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


class QuickSelect(forms.Select):
    """Writes its options itself: a template for each of 600 time zones takes 90 ms."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        chosen = {str(each) for each in self.format_value(value)}
        given = flatatt(self.build_attrs(self.attrs, {"name": name, **(attrs or {})}))
        return format_html("<select{}>{}</select>", given, _options(self.choices, chosen))


def _options(choices: Iterable[Any], chosen: Collection[str]) -> SafeString:
    """Options, those of a group within it."""
    return format_html_join("", "{}", ((_option(key, word, chosen),) for key, word in choices))


def _option(key: Any, word: Any, chosen: Collection[str]) -> SafeString:
    if isinstance(word, list | tuple):
        return format_html('<optgroup label="{}">{}</optgroup>', key, _options(word, chosen))
    told = "" if key is None else str(key)
    return format_html('<option value="{}"{}>{}</option>', told, _CHOSEN if told in chosen else "", word)


_CHOSEN = SafeString(" selected")


class _Choice(forms.ChoiceField):
    """Offers choices without judging: what there is to choose from is the API's rule, told with all other faults."""

    widget = QuickSelect

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
