"""Widgets of the line form, written out directly: a page of a hundred lines has thousands of them."""

from __future__ import annotations

from django import forms
from django.forms.utils import flatatt
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe


class PlainText(forms.TextInput):
    """A text box."""

    def render(self, name, value, attrs=None, renderer=None) -> SafeString:
        own = {"type": "text", "name": name}
        if value not in (None, ""):
            own["value"] = str(value)
        return format_html("<input{}>", flatatt({**own, **self.attrs, **(attrs or {})}))


class PlainSelect(forms.Select):
    """A choice among a few; a value that is none of them stays to be seen and refused."""

    def render(self, name, value, attrs=None, renderer=None) -> SafeString:
        chosen = "" if value is None else str(value)
        choices = list(self.choices)
        if chosen and chosen not in [str(key) for key, _ in choices]:
            choices.insert(0, (chosen, chosen))
        options = "".join(
            f'<option value="{conditional_escape(key)}"{" selected" if str(key) == chosen else ""}>'
            f"{conditional_escape(label)}</option>"
            for key, label in choices
        )
        return mark_safe(
            f"<select{flatatt({'name': name, **self.attrs, **(attrs or {})})}>{options}</select>"
        )


class PlainCheck(forms.CheckboxInput):
    """A box to tick."""

    def render(self, name, value, attrs=None, renderer=None) -> SafeString:
        own = {"type": "checkbox", "name": name, "checked": self.check_test(value)}
        return format_html("<input{}>", flatatt({**own, **self.attrs, **(attrs or {})}))
