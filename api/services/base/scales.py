"""Of which quantities does a tolerance take its percentages? Of one result, in its own unit.

Choice: without a nominal, or around 0, the value is an error of indication and no reading; an error
in percent is a share of the applied force, which then is 100. Not checked: the unit.
"""

from __future__ import annotations

from decimal import Decimal

from api.rules.exact import exact_arithmetic
from api.services.base.units import PERCENT

_WHOLE = Decimal(100)


def scales_of(
    value: Decimal,
    nominal: Decimal | None,
    unit: str | None,
    reading: Decimal | None = None,
    full_scale: Decimal | None = None,
    resolution: Decimal | None = None,
) -> dict[str, Decimal | None]:
    """Return what terms of a tolerance may be a share of, None where it is not known.

    >>> scales_of(Decimal("10.1"), Decimal(10), "kN")["reading"]
    Decimal('10.1')
    >>> scales_of(Decimal("0.2"), None, "%")["reading"]
    Decimal('100.2')
    """
    if reading is None and nominal:
        reading = value
    if unit == PERCENT and not nominal:
        with exact_arithmetic():
            nominal, reading = _WHOLE, _WHOLE + value
    scales = {"nominal": nominal, "reading": reading}
    return scales | {"full_scale": full_scale, "resolution": resolution}
