"""A set-up check for people: what differs first, then what nobody could check, then the shelf."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from rich.console import Group
from rich.table import Table
from rich.text import Text

from api.commands.output import words
from api.commands.views import facts, plain_table

Json = Mapping[str, Any]
_SHOWN_CHOICES = 4


def setup_view(answer: Json) -> Group:
    """The findings of a set-up check; those that agree are only counted."""
    agree = sum(one["outcome"] == "agrees" for one in answer["findings"])
    parts: list[Table | Text] = [
        *_requirement(answer),
        Text(
            f"Differ: {answer['differs']}; could not be checked: {answer['not_checked']}; "
            f"agree: {agree}."
        ),
    ]
    for outcome, heading, colour in (
        ("differs", "differs", "red"),
        ("not_checked", "could not be checked", "yellow"),
    ):
        found = [one for one in answer["findings"] if one["outcome"] == outcome]
        if found:
            parts.append(_findings(found, heading, colour))
    return Group(*parts, *(_shelf(one) for one in answer["shelf"][:1]))


def _requirement(answer: Json) -> list[Text]:
    found = answer.get("requirement")
    if found is None or "why" not in found:
        return []
    return [Text(f"Requirement {found['id']} version {found['version']}: {found['why']}.")]


def _findings(found: Iterable[Json], heading: str, colour: str) -> Table:
    table = plain_table(heading, "what was found", "off by", "likely effect", right=("off by",))
    for one in found:
        off_by = one.get("off_by") or {}
        table.add_row(
            Text(words(one["check"]), colour),
            one["sentence"],
            off_by.get("absolute"),
            _effect(one.get("likely_effect")),
        )
    return table


def _effect(effect: Json | None) -> str:
    """Say how large an error is likely to be, in percent.

    >>> _effect({"error_rel_low": "0", "error_rel_high": "0.02", "source": "measured"})
    'up to 2 % (measured)'
    """
    if effect is None:
        return "-"
    low, high = (effect[name] for name in ("error_rel_low", "error_rel_high"))
    if high is None:
        return f"no figure ({effect['source']})"
    size = f"up to {_percent(high)}" if low == "0" else f"{_percent(low)} to {_percent(high)}"
    return f"{size} ({effect['source']})"


def _percent(share: str) -> str:
    return f"{(Decimal(share) * 100).normalize():f} %"


def _shelf(slot: Json) -> Table:
    rows = [
        (one["item"], "; ".join([words(one["choice"]), *one["warnings"], *one.get("reasons", ())]))
        for one in slot["choices"][:_SHOWN_CHOICES]
    ]
    return facts([(f"on the shelf, {words(slot['for'])}", "best choice first"), *rows])
