"""What could a difference of the set-up do to the reading? Figures with their source.

Choice: a table that stands beside this module as data, each row with its source, because the trade
knows these figures and nobody published them. What the laboratory measured itself outranks it. The
same file holds the few things that are asked of a set-up where no requirement record says anything.

Not checked: that a figure holds for this model of instrument.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

_ANY = "*"


@dataclass(frozen=True, slots=True)
class Effect:
    """The size of a relative error that a difference may cause.

    Parameters
    ----------
    error_rel_low, error_rel_high : str or None
        A share of force, as text; None where no figure is known.
    source : str
        Who says so.
    note : str, optional
        What else is to be known.
    """

    error_rel_low: str | None
    error_rel_high: str | None
    source: str
    note: str | None = None

    def to_mapping(self) -> dict[str, str | None]:
        """Return the JSON form.

        Returns
        -------
        dict of str to str or None
            The two figures are always there, null where unknown.
        """
        found: dict[str, str | None] = {
            "error_rel_low": self.error_rel_low,
            "error_rel_high": self.error_rel_high,
            "source": self.source,
        }
        return found | ({"note": self.note} if self.note else {})


@dataclass(frozen=True, slots=True)
class Practice:
    """What is asked of a set-up without any record.

    Attributes
    ----------
    required : bool or None
        A value that is required.
    avoid : str or None
        One to avoid.
    source : str
        Who says so.
    """

    required: bool | None
    avoid: str | None
    source: str


def likely_effect(
    instrument_type: str | None, difference: str, measured: Effect | None = None
) -> Effect | None:
    """Return what a difference may do to this type of instrument.

    Parameters
    ----------
    instrument_type : str or None
        The type; None takes what is said of all types.
    difference : str
        What differs, such as `pin_diameter`.
    measured : Effect, optional
        What the laboratory found itself for the type; it outranks the table.

    Returns
    -------
    Effect or None
        None where nobody says.

    Examples
    --------
    >>> likely_effect("tension_link", "pin_diameter").error_rel_high
    '0.02'
    """
    if measured is not None:
        return measured
    row = _row("effects", "difference", instrument_type, difference)
    if row is None:
        return None
    figures = (row["error_rel_low"], row["error_rel_high"])
    return Effect(*figures, row["source"], row.get("note"))


def practice(instrument_type: str | None, check: str) -> Practice | None:
    """Return what common practice asks of a set-up for this type.

    Parameters
    ----------
    instrument_type : str or None
        The type; None takes what is said of all types.
    check : str
        What is asked about, such as `roller_bearings`.

    Returns
    -------
    Practice or None
        None where it asks nothing.

    Examples
    --------
    >>> practice("dynamometer", "roller_bearings").required
    True
    """
    row = _row("practice", "check", instrument_type, check)
    return row and Practice(row.get("required"), row.get("avoid"), row["source"])


def _row(table: str, column: str, instrument_type: str | None, name: str) -> Any:
    rows = [row for row in _tables()[table] if row[column] == name]
    own = next((row for row in rows if instrument_type in row["types"]), None)
    return own or next((row for row in rows if _ANY in row["types"]), None)


@cache
def _tables() -> Mapping[str, Any]:
    text = files("api.rules.fitting").joinpath("likely_effects.json").read_text("utf-8")
    tables: Mapping[str, Any] = json.loads(text)
    return tables
