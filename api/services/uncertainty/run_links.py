"""What takes its numbers from stored runs: a result of a calibration, a point of a budget.

Choice: the indicated force is the mean deflection over the rotations, at rising force or at falling
force, in the unit of the force; it is shown with the places that the readings had, in full where
the mean ends and else with 12 significant digits. The error is what is indicated less what was
applied. Runs that indicate no force (mV/V) give no error. U is that of the runs, at rising force
alone: reversibility is no part of it.

Not checked: that the mean of the runs is what the certificate is to state.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

from sqlalchemy.orm import Session

from api.rules.units import convert, is_force
from api.services.base.record import Record
from api.services.base.units import PERCENT
from api.store.evaluations import RunEvaluation
from graph.exact import ended, text

REMEDY = "evaluate the runs first (POST /v1/run-evaluations), or mend the id"
FALLING = "decreasing"
_EXACT_DIGITS = 200  # more than the difference of two recorded numbers can have


@dataclass(frozen=True, slots=True)
class Run:
    """A stored run evaluation, read for what its points say.

    Parameters
    ----------
    row : RunEvaluation
        As it is stored; it never changes.
    """

    row: RunEvaluation

    @property
    def unit(self) -> str:
        """The unit of the applied forces."""
        found: str = self.row.answer["force_unit"]
        return found

    @property
    def indicates_force(self) -> bool:
        """Whether the instrument indicates a force, so that there is an error to state."""
        return is_force(self.row.answer["indication_unit"])

    @property
    def forces(self) -> list[Decimal]:
        """The applied forces, the smallest first, with their digits."""
        return [Decimal(one["applied"]) for one in self._points]

    @property
    def falls(self) -> bool:
        """Whether some forces were read at falling force too."""
        return any(self._deflections(place, FALLING) for place in range(len(self._points)))

    @property
    def _points(self) -> Sequence[Record]:
        found: Sequence[Record] = self.row.answer["points"]
        return found

    def said(self, name: str) -> Any:
        """What its request says under a name; None where it says nothing."""
        return self.row.request.get(name)

    def values(self, place: int, direction: str | None, unit: str | None = None) -> Record:
        """Return applied force and its unit, indicated force and error, as far as there are any.

        Parameters
        ----------
        place : int
            In `forces`.
        direction : str, optional
            "decreasing" takes the readings at falling force.
        unit : str, optional
            Of force, to express them in; that of the runs by default.

        Raises
        ------
        LookupError
            If there are no readings at falling force there.
        """
        unit = unit or self.unit
        applied = _expressed(Fraction(self.forces[place]), self.unit, unit)
        if unit == self.unit:
            applied = self.forces[place]
        found: Record = {"applied": applied, "unit": unit}
        deflections = self._deflections(place, direction)
        if not deflections:
            raise LookupError(f"no readings at falling force at {applied} {unit}")
        if not self.indicates_force:
            return found
        mean = sum(deflections, Fraction(0)) / len(deflections)
        own = self.row.answer["indication_unit"]
        indicated = _expressed(mean, own, unit)
        if own == unit:
            indicated = _padded(indicated, self._places(place))
        with localcontext(prec=_EXACT_DIGITS):
            return found | {"indicated": indicated, "error": indicated - applied}

    def uncertainty(self, place: int, direction: str | None, unit: str) -> Record:
        """Return U and k of the runs, U in a unit of force or, in %, as `U_rel_pct`.

        Empty where they have none: at falling force, or if too little is known.
        """
        stated = self._points[place]["uncertainty"]
        if direction == FALLING or stated["U"] is None:
            return {}
        k = Decimal(stated["k"])
        if unit == PERCENT:
            return {"U_rel_pct": Decimal(stated["U_rel_pct"]), "k": k}
        return {"U": _expressed(Fraction(stated["U"]), self.unit, unit), "k": k}

    def components(self, place: int) -> list[Record]:
        """Return the contributions of the runs at a force, as a budget takes them."""
        found: list[Record] = self._points[place]["uncertainty"]["components"]
        return found

    def left_out(self) -> list[str]:
        """Return the labels of the contributions that the runs cannot give at some force."""
        labels = {
            one["label"] for point in self._points for one in point["uncertainty"]["left_out"]
        }
        return sorted(labels)

    def _deflections(self, place: int, direction: str | None) -> list[Fraction]:
        name = "descending" if direction == FALLING else "deflection"
        return [
            Fraction(one[name])
            for one in self._points[place]["deflections"]
            if not one["repeated"] and name in one
        ]

    def _places(self, place: int) -> int:
        """Return how many decimal places the readings at a force were written with, at most."""
        readings = _readings(self.row.request, self.forces[place])
        return max(map(_places_of, readings), default=0)


def find(session: Session, key: int) -> Run | None:
    """Return the stored run evaluation of this id, or None."""
    row = session.get(RunEvaluation, key)
    return None if row is None else Run(row)


def _expressed(value: Fraction, unit: str, target: str) -> Decimal:
    return Decimal(text(ended(convert(value, unit, target))))


def _readings(request: Mapping[str, Any], force: Decimal) -> Iterator[str]:
    for one in request["series"]:
        for name in ("ascending", "descending"):
            for reading in one.get(name, ()):
                if Decimal(reading["applied"]) == force:
                    yield reading["indicated"]


def _places_of(number: str) -> int:
    exponent = Decimal(number).as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _padded(value: Decimal, places: int) -> Decimal:
    """Return a number with so many decimal places at least; its value stays."""
    if _places_of(format(value, "f")) >= places:
        return value
    with localcontext(prec=_EXACT_DIGITS):
        return value.quantize(Decimal(1).scaleb(-places))
