"""What a form sent, and what is wrong with it: each fault beside the field that it belongs to.

Forms are checked by the schemas of the API; only the names of fields are translated.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError

from api.errors import TraceholdError
from api.web.validation import issues_of

Labels = Mapping[str, tuple[str, str]]
Fault = dict[str, str]


def filled(sent: Mapping[str, str], *names: str) -> dict[str, str]:
    """Return what was entered under these names, blanks around it cut off; empty ones left out."""
    return {name: text for name in names if (text := sent.get(name, "").strip())}


def number(sent: Mapping[str, str], name: str) -> int | None:
    """Return the whole number entered under a name, commas between its digits; None if none is."""
    said = sent.get(name, "").strip().replace(",", "")
    return int(said[:9]) if said.isascii() and said.isdigit() else None


def load(schema: Schema, body: Any, labels: Labels) -> tuple[dict[str, Any] | None, list[Fault]]:
    """Load a body by the schema of the API; return it, or None and what is wrong.

    `labels` names, for a place in the body ("/limits/lower"), the field of the form and its label.
    """
    try:
        return schema.load(body), []
    except ValidationError as error:
        found = issues_of({"json": error.messages}, error)
        return None, [_fault(one.get("pointer", ""), one, labels) for one in found]


def refused(error: TraceholdError, labels: Labels) -> list[Fault]:
    """Return what the services refused, as `load` does."""
    if not error.issues:
        return [_fault("", {"detail": error.detail}, labels)]
    return [
        _fault(one.pointer, {"detail": one.detail, "remedy": one.remedy}, labels)
        for one in error.issues
    ]


def _fault(place: str, said: Mapping[str, str], labels: Labels) -> Fault:
    nearest = place
    while nearest and nearest not in labels:
        nearest = nearest.rpartition("/")[0]
    field, label = labels.get(nearest, ("", ""))
    return {
        "field": field,
        "label": label,
        "detail": said["detail"],
        "remedy": said.get("remedy", ""),
    }
