"""Fields for a figure and its unit in one text: a length "2 in", a force "50 kN"."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from api.rules.fitting.lengths import LENGTH_UNITS, UnreadableLength, parse_length
from api.rules.units import FORCE_UNITS, UnknownUnit, parse_quantity
from api.schemas.fields import Text, decimal_of, refuse

_MAX = 60
_RIGHT_ANGLE = 90


class LengthText(Text):
    """A length with its unit, kept as it was written; above zero unless ``zero`` is allowed."""

    def __init__(self, *, zero: bool = False, **kwargs: Any) -> None:
        super().__init__(max_length=_MAX, **kwargs)
        self.zero = zero

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        text = super()._deserialize(value, attr, data, **kwargs)
        remedy = f'write one such as "50.8 mm" or "2 1/4 in"; units: {", ".join(LENGTH_UNITS)}'
        try:
            length = parse_length(text)
        except UnreadableLength as error:
            raise refuse(str(error).partition("; ")[0], remedy) from error
        if not length.mm and not self.zero:
            raise refuse("a length of zero", remedy)
        return text


class ForceText(Text):
    """A force above zero with its unit, kept as it was written."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=_MAX, **kwargs)

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        text = super()._deserialize(value, attr, data, **kwargs)
        remedy = f'write one such as "50 kN"; units: {", ".join(FORCE_UNITS)}'
        try:
            force = decimal_of(parse_quantity(text)[0])
        except (UnknownUnit, ValueError) as error:
            raise refuse(str(error), remedy) from error
        if force <= 0:
            raise refuse("a force that is not above zero", remedy)
        return text


def an_angle(value: Decimal) -> None:
    """Validate an angle of a load line, in degrees."""
    if not 0 <= value < _RIGHT_ANGLE:
        raise refuse("not an angle from 0 to below 90 degrees", "send it in degrees")
