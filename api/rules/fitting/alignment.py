"""What does an angle of the load line do? It takes from the axis, and pushes sideways.

Choice: of a force F the axis gets F cos(angle), which is less by F (1 - cos), and F sin(angle)
pushes sideways. Both follow from geometry; how an instrument responds to the side load is its own,
and is not worked out here. Sine by its series, to 60 digits, reported with 12.

Not checked: whether the line of force passes through the axis; an offset adds a moment.
"""

from decimal import Context, Decimal, InvalidOperation

from api.rules.exact import shortened

_SIXTY = Context(prec=60, traps=[InvalidOperation])
# From memory; a test compares it with mpmath.
_PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494459")
_RIGHT_ANGLE = Decimal(90)


def cosine_error(angle_deg: Decimal) -> Decimal:
    """Return 1 - cos of an angle: the share of the force that the axis does not get.

    Parameters
    ----------
    angle_deg : Decimal
        In degrees, from 0 to below 90.

    Returns
    -------
    Decimal
        12 digits.

    Raises
    ------
    ValueError
        For an angle that is negative or 90 degrees and more.

    Examples
    --------
    >>> cosine_error(Decimal(1)), cosine_error(Decimal(3))
    (Decimal('0.000152304843609'), Decimal('0.00137046524543'))
    """
    half = _sine(_SIXTY.divide(_checked(angle_deg), Decimal(2)))
    # 1 - cos would lose the digits of a small angle; 2 sin^2 of its half does not.
    return shortened(_SIXTY.multiply(Decimal(2), _SIXTY.multiply(half, half)))


def side_share(angle_deg: Decimal) -> Decimal:
    """Return sin of an angle: the share of the force that pushes sideways.

    Parameters
    ----------
    angle_deg : Decimal
        In degrees, from 0 to below 90.

    Returns
    -------
    Decimal
        12 digits.

    Raises
    ------
    ValueError
        For an angle that is negative or 90 degrees and more.

    Examples
    --------
    >>> side_share(Decimal(1))
    Decimal('0.0174524064373')
    """
    return shortened(_sine(_checked(angle_deg)))


def _checked(angle_deg: Decimal) -> Decimal:
    if not 0 <= angle_deg < _RIGHT_ANGLE:
        raise ValueError(f"{angle_deg} is not an angle from 0 to below 90 degrees")
    return angle_deg


def _sine(angle_deg: Decimal) -> Decimal:
    x = _SIXTY.divide(_SIXTY.multiply(angle_deg, _PI), Decimal(180))
    square = _SIXTY.multiply(x, x)
    total, term, n = x, x, 1
    while term and total.adjusted() - term.adjusted() < _SIXTY.prec:
        term = _SIXTY.divide(_SIXTY.multiply(term, -square), Decimal((n + 1) * (n + 2)))
        total, n = _SIXTY.add(total, term), n + 2
    return total


def part_of(force: Decimal, share: Decimal) -> Decimal:
    """Return a share of a force, with 12 significant digits.

    Parameters
    ----------
    force : Decimal
        In any unit.
    share : Decimal
        As `cosine_error` or `side_share` give it.

    Returns
    -------
    Decimal
        In the unit of the force.

    Examples
    --------
    >>> part_of(Decimal(20000), side_share(Decimal(1)))
    Decimal('349.048128746')
    """
    return shortened(_SIXTY.multiply(force, share))
