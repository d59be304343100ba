"""Decision rules: what was agreed, in which version.

Choice: a rule is a frozen record: how the guard band w is found, how many zones the answer has,
who prescribed it and with whom it was agreed (ISO/IEC 17025:2017, 7.1.3). Two zones are pass and
fail; four add conditional pass and conditional fail (ILAC-G8:09/2019, 4.2.3, from memory).
A negative w (relaxed acceptance) is lawful with two zones and refused with four.

Not checked: that the rule suits the customer's use of the result.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

from api.rules.exact import FieldError, finite, plain

# What a guard band is made of.
BASES = (
    "none",
    "U",
    "absolute",
    "tolerance",
    "rds",
    "managed",
    "specific_risk",
    "global_risk",
)
# The one parameter each basis takes; the others take none.
_PARAMETERS = {
    "U": "factor",
    "absolute": "width",
    "tolerance": "share",
    "specific_risk": "target",
    "global_risk": "target",
}
# Consumer's risks are known to about 1e-16; below this a solved guard band would be noise.
_SMALLEST_TARGET = Decimal("1e-9")
_RECORD = ("title", "prescribed_by", "agreed_with", "agreed_at", "source", "edition", "note")


class RuleError(FieldError):
    """A rule that cannot be used; `field` is a JSON pointer into the rule."""


@dataclass(frozen=True, slots=True)
class Guard:
    """How the guard band is found: a basis and the one parameter it takes.

    Parameters
    ----------
    basis : str
        One of BASES.
    factor : Decimal, optional
        r in w = rU, for `U`.
    width : tuple of Decimal, optional
        w itself, (lower, upper), in the unit of the limits, for `absolute`.
    share : Decimal, optional
        w over half the tolerance width, for `tolerance`.
    target : Decimal, optional
        A probability from 1e-9 to below 1, for `specific_risk` and `global_risk`.

    Raises
    ------
    RuleError
        If the basis is unknown, or takes another parameter or value than given.
    """

    basis: str
    factor: Decimal | None = None
    width: tuple[Decimal, Decimal] | None = None
    share: Decimal | None = None
    target: Decimal | None = None

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise RuleError("/guard/basis", f"basis must be one of {', '.join(BASES)}")
        wanted = _PARAMETERS.get(self.basis)
        for name in ("factor", "width", "share", "target"):
            given = getattr(self, name) is not None
            if given and name != wanted:
                raise RuleError(f"/guard/{name}", f"basis {self.basis!r} takes no {name}")
            if not given and name == wanted:
                raise RuleError(f"/guard/{name}", f"basis {self.basis!r} needs a {name}")
        if self.target is not None and not _SMALLEST_TARGET <= self.target < 1:
            raise RuleError("/guard/target", "target must be a probability from 1e-9 to below 1")

    @property
    def relaxes(self) -> str | None:
        """Name the parameter that makes w negative, or None."""
        if self.factor is not None and self.factor < 0:
            return "factor"
        if self.width is not None and min(self.width) < 0:
            return "width"
        if self.share is not None and self.share < 0:
            return "share"
        # With a global target w never becomes negative, see `acceptance`.
        if self.basis == "specific_risk" and self.target is not None and self.target * 2 > 1:
            return "target"
        return None

    def to_mapping(self) -> dict[str, object]:
        """Return the JSON form.

        Returns
        -------
        dict of str to object
            Numbers as text; a width that is the same on both sides is one number.
        """
        found: dict[str, object] = {"basis": self.basis}
        if self.width is not None:
            lower, upper = (plain(width) for width in self.width)
            found["width"] = lower if lower == upper else {"lower": lower, "upper": upper}
        for name in ("factor", "share", "target"):
            value = getattr(self, name)
            if value is not None:
                found[name] = plain(value)
        return found


@dataclass(frozen=True, slots=True)
class Rule:
    """A decision rule in one version.

    Parameters
    ----------
    id : str
        `inline` for a rule given with the request only.
    version : int
        From 1.
    guard : Guard
        How the guard band is found.
    zones : int
        2 (pass, fail) or 4, with the conditional ones between (ILAC-G8:09/2019, 4.2.3, from
        memory).
    title : str, optional
        What people call it.
    prescribed_by : str, optional
        The regulation, standard or customer that prescribes it; the statement then names no risk
        (ISO/IEC 17025:2017, 7.8.6.1).
    agreed_with, agreed_at : str, optional
        With whom and when it was agreed (ISO/IEC 17025:2017, 7.1.3).
    source, edition, note : str, optional
        Where it comes from, and what else is to be remembered.

    Raises
    ------
    RuleError
        If a part is out of range, or four zones have a guard band below 0.

    Examples
    --------
    >>> BUILT_IN["guard_U"].guard
    Guard(basis='U', factor=Decimal('1'), width=None, share=None, target=None)
    """

    id: str = "inline"
    version: int = 1
    guard: Guard = field(default_factory=lambda: Guard("none"))
    zones: int = 2
    title: str | None = None
    prescribed_by: str | None = None
    agreed_with: str | None = None
    agreed_at: str | None = None
    source: str | None = None
    edition: str | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        if not self.id:
            raise RuleError("/id", "id must not be empty")
        if isinstance(self.version, bool) or not isinstance(self.version, int) or self.version < 1:
            raise RuleError("/version", "version must be a whole number from 1")
        if isinstance(self.zones, bool) or self.zones not in (2, 4):
            raise RuleError("/zones", "zones must be 2 or 4")
        relaxed = self.guard.relaxes
        if self.zones == 4 and relaxed:
            raise RuleError(
                f"/guard/{relaxed}", "four zones need a guard band of 0 or more; use zones 2"
            )

    def to_mapping(self) -> dict[str, object]:
        """Return the JSON form; `rule_from_mapping` gives the same rule back.

        Returns
        -------
        dict of str to object
            Numbers of the guard as text; what is None is left out.
        """
        found: dict[str, object] = {"id": self.id, "version": self.version}
        found |= {"guard": self.guard.to_mapping(), "zones": self.zones}
        for name in _RECORD:
            value = getattr(self, name)
            if value is not None:
                found[name] = value
        return found


# Rules that need not be recorded, by id.
BUILT_IN: dict[str, Rule] = {
    rule.id: rule
    for rule in (
        Rule("simple", title="Simple acceptance"),
        Rule("guard_U", guard=Guard("U", factor=Decimal(1)), title="Guarded acceptance, w = U"),
        Rule(
            "four_state_U",
            guard=Guard("U", factor=Decimal(1)),
            zones=4,
            title="Pass, conditional pass, conditional fail, fail, with w = U",
        ),
    )
}


def rule_from_mapping(mapping: Mapping[str, object]) -> Rule:
    """Read a rule from its JSON form.

    Parameters
    ----------
    mapping : mapping
        `guard` and any other fields of Rule; numbers are text, int or Decimal. A float is refused,
        its digits are not those that were sent.

    Returns
    -------
    Rule

    Raises
    ------
    RuleError
        With a pointer to what is wrong.

    Examples
    --------
    >>> rule_from_mapping({"guard": {"basis": "U", "factor": "0.83"}}).guard.factor
    Decimal('0.83')
    """
    if not isinstance(mapping, Mapping):
        raise RuleError("", "a rule must be an object with a guard and zones")
    _only(mapping, {"id", "version", "guard", "zones", *_RECORD}, "")
    if "guard" not in mapping:
        raise RuleError("/guard", "a guard is needed; use {'basis': 'none'} for simple acceptance")
    texts = {name: _text(mapping[name], f"/{name}") for name in _RECORD if name in mapping}
    identity = _text(mapping.get("id", "inline"), "/id")
    version, zones = (_whole(mapping.get(n, d), f"/{n}") for n, d in (("version", 1), ("zones", 2)))
    return Rule(identity or "", version, _guard(mapping["guard"]), zones, **texts)


def _guard(mapping: object) -> Guard:
    if not isinstance(mapping, Mapping):
        raise RuleError("/guard", "a guard must be an object with a basis")
    _only(mapping, {"basis", "factor", "width", "share", "target"}, "/guard")
    basis = _text(mapping.get("basis"), "/guard/basis") or ""
    width = mapping.get("width")
    numbers = {
        name: _number(mapping[name], f"/guard/{name}")
        for name in ("factor", "share", "target")
        if mapping.get(name) is not None
    }
    return Guard(basis, width=None if width is None else _width(width), **numbers)


def _width(value: object) -> tuple[Decimal, Decimal]:
    if not isinstance(value, Mapping):
        width = _number(value, "/guard/width")
        return width, width
    _only(value, {"lower", "upper"}, "/guard/width")
    if not value:
        raise RuleError("/guard/width", "at least one of lower and upper is needed")
    lower, upper = (_number(value.get(n, 0), f"/guard/width/{n}") for n in ("lower", "upper"))
    return lower, upper


def _number(value: object, pointer: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
        raise RuleError(pointer, "a decimal number, best as text, is needed")
    try:
        number = Decimal(value)
    except InvalidOperation:
        raise RuleError(pointer, f"{value!r} is not a number") from None
    try:
        finite(number, "")
    except FieldError as error:
        raise RuleError(pointer, str(error)) from None
    return number


def _whole(value: object, pointer: str) -> int:
    number = _number(value, pointer)
    if isinstance(value, str) or number != number.to_integral_value():
        raise RuleError(pointer, "a whole number is needed")
    return int(number)


def _text(value: object, pointer: str) -> str | None:
    if value is not None and not isinstance(value, str):
        raise RuleError(pointer, "text is needed")
    return value


def _only(mapping: Mapping[str, object], known: set[str], pointer: str) -> None:
    for key in mapping:
        if key not in known:
            raise RuleError(f"{pointer}/{key}", f"unknown key {key!r}")
