"""How the guard band of a decision rule is found: a basis and the one parameter it takes.

Choice: a negative parameter relaxes, which is lawful by itself; a rule with four zones refuses it.

Not checked: that the basis suits the limits; `acceptance` finds out.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from api.rules.exact import plain
from api.rules.rule_parts import RuleError, number, only, text

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
    "tur_table",
)
# The one parameter each basis takes; the others take none.
_PARAMETERS = {
    "U": "factor",
    "absolute": "width",
    "tolerance": "share",
    "specific_risk": "target",
    "global_risk": "target",
    "tur_table": "steps",
}
_ALL_PARAMETERS = ("factor", "width", "share", "target", "steps")
MOST_STEPS = 50
_LARGEST_TUR = 1_000_000
# Consumer's risks are known to about 1e-16; below this a solved guard band would be noise.
_SMALLEST_TARGET = Decimal("1e-9")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a table of guard bands by TUR.

    Parameters
    ----------
    from_tur : Decimal
        The least TUR that it is for, 0 or more; it ends where the next step begins.
    factor : Decimal, optional
        r in w = rU, as for basis `U`.
    share : Decimal, optional
        w over half the tolerance width, as for basis `tolerance`.
    """

    from_tur: Decimal
    factor: Decimal | None = None
    share: Decimal | None = None

    @property
    def size(self) -> Decimal:
        """The factor or the share, whichever it has."""
        return self.share if self.factor is None else self.factor  # type: ignore[return-value]

    def to_mapping(self) -> dict[str, str]:
        """Return the JSON form.

        Returns
        -------
        dict of str to str
        """
        name = "share" if self.factor is None else "factor"
        return {"from_tur": plain(self.from_tur), name: plain(self.size)}


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
    steps : tuple of Step, optional
        From TUR 0 upwards, for `tur_table`.

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
    steps: tuple[Step, ...] | None = None

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise RuleError("/guard/basis", f"basis must be one of {', '.join(BASES)}")
        wanted = _PARAMETERS.get(self.basis)
        for name in _ALL_PARAMETERS:
            given = getattr(self, name) is not None
            if given and name != wanted:
                raise RuleError(f"/guard/{name}", f"basis {self.basis!r} takes no {name}")
            if not given and name == wanted:
                raise RuleError(f"/guard/{name}", f"basis {self.basis!r} needs a {name}")
        if self.steps is not None:
            _check_steps(self.steps)
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
        if self.steps is not None and min(step.size for step in self.steps) < 0:
            return "steps"
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
        if self.steps is not None:
            found["steps"] = [step.to_mapping() for step in self.steps]
        return found


def guard_from_mapping(mapping: object) -> Guard:
    """Read a guard from its JSON form; raise RuleError with a pointer to what is wrong."""
    if not isinstance(mapping, Mapping):
        raise RuleError("/guard", "a guard must be an object with a basis")
    only(mapping, {"basis", *_ALL_PARAMETERS}, "/guard")
    basis = text(mapping.get("basis"), "/guard/basis") or ""
    width = mapping.get("width")
    numbers = {
        name: number(mapping[name], f"/guard/{name}")
        for name in ("factor", "share", "target")
        if mapping.get(name) is not None
    }
    steps = mapping.get("steps")
    return Guard(
        basis,
        width=None if width is None else _width(width),
        steps=None if steps is None else _steps(steps),
        **numbers,
    )


def _steps(value: object) -> tuple[Step, ...]:
    if not isinstance(value, list | tuple):
        raise RuleError("/guard/steps", "a list of steps is needed")
    return tuple(_step(one, f"/guard/steps/{i}") for i, one in enumerate(value))


def _step(value: object, place: str) -> Step:
    if not isinstance(value, Mapping):
        raise RuleError(place, "a step is an object; give from_tur and factor or share")
    only(value, {"from_tur", "factor", "share"}, place)
    given = {name: part for name, part in value.items() if part is not None}
    if "from_tur" not in given:
        raise RuleError(f"{place}/from_tur", "it is missing; give the least TUR of the step")
    if ("factor" in given) == ("share" in given):
        which = "both are" if "factor" in given else "neither is"
        raise RuleError(place, f"{which} given; give one of factor and share")
    return Step(**{name: number(part, f"{place}/{name}") for name, part in given.items()})


def _check_steps(steps: tuple[Step, ...]) -> None:
    """Refuse a table that has no answer for some TUR, or two."""
    if not 1 <= len(steps) <= MOST_STEPS:
        raise RuleError("/guard/steps", f"{len(steps)} steps; give 1 to {MOST_STEPS}")
    if steps[0].from_tur != 0:
        raise RuleError(
            "/guard/steps/0/from_tur",
            f"nothing is said below TUR {plain(steps[0].from_tur)}; let the first step begin at 0, "
            "or ask for a least TUR by a precondition",
        )
    for i in range(1, len(steps)):
        if steps[i].from_tur <= steps[i - 1].from_tur:
            raise RuleError(
                f"/guard/steps/{i}/from_tur",
                f"{plain(steps[i].from_tur)} is not above the step before; put them in order",
            )
        if steps[i].from_tur > _LARGEST_TUR:
            raise RuleError(
                f"/guard/steps/{i}/from_tur", f"no TUR is that large; give {_LARGEST_TUR} at most"
            )


def _width(value: object) -> tuple[Decimal, Decimal]:
    if not isinstance(value, Mapping):
        width = number(value, "/guard/width")
        return width, width
    only(value, {"lower", "upper"}, "/guard/width")
    if not value:
        raise RuleError("/guard/width", "at least one of lower and upper is needed")
    lower, upper = (number(value.get(n, 0), f"/guard/width/{n}") for n in ("lower", "upper"))
    return lower, upper
