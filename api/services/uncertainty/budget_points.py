"""What does an uncertainty budget come to at one point? From a request to its answer.

Choice: every input is expressed in the unit of the point. A figure marked relative is in percent of
`of`, which is the value of the point unless it is given; a figure in another unit of force is
converted exactly; one in any other unit needs a sensitivity in the point's unit per its own. The
floor: where a capability holds and U is below it, the capability's U is stated, with its k.

Not checked: that the components are complete, or that the model is linear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.density import MOST_REST, Density
from api.rules.exact import FieldError, fifty_digits, plain, shortened
from api.rules.uncertainty import coverage, rounding
from api.rules.uncertainty.budget import Combined, Component, combine, relative
from api.rules.uncertainty.cmc import Capability
from api.rules.uncertainty.components import READY
from api.rules.uncertainty.correlation import Correlations, correlations
from api.rules.uncertainty.distributions import Standard, standard
from api.rules.units import UnknownUnit, convert, is_force
from api.services.base.record import Record
from api.services.base.units import check_unit
from api.services.uncertainty.budget_notes import dof_notes, dominance_note, floor_note, reasons

_ONE = Fraction(1)


@dataclass(frozen=True, slots=True)
class Term:
    """A component as it was sent, its distribution settled, and what its figure comes to."""

    sent: Mapping[str, Any]
    distribution: str
    standard: Standard
    place: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What a request asks of every one of its points; `coverage` and `correlations` as loaded."""

    coverage: Mapping[str, Any]
    correlations: Sequence[Mapping[str, Any]]
    digits: int


@dataclass(frozen=True, slots=True)
class Factor:
    """The coverage factor of one point and how it was found."""

    k: Decimal
    shown: Record
    trapezoid: coverage.Trapezoid | None = None


def terms(sent: Sequence[Mapping[str, Any]], place: str) -> list[Term]:
    """Return components with their standard uncertainties; raise FieldError with its pointer."""
    found = []
    for i, one in enumerate(sent):
        here = f"{place}/{i}"
        ready = READY.get(one.get("kind", ""))
        distribution = one.get("distribution", ready.distribution if ready else None)
        if distribution is None:
            detail = "it is missing; give distribution, or the kind of a ready component"
            raise FieldError(f"{here}/distribution", detail)
        try:
            found.append(Term(one, distribution, standard(distribution, one), here))
        except FieldError as error:
            raise FieldError(f"{here}{error.field}", str(error)) from None
    return found


def point_answer(
    asked: Asked, value: Decimal, unit: str, parts: Sequence[Term], floor: Capability | None
) -> Record:
    """Return the answer for one point, with `parts` in its budget.

    Raises FieldError with a pointer into the request.
    """
    components = [_component(one, value, unit) for one in parts]
    _check_names(parts)
    pairs = [((one["between"][0], one["between"][1]), one["r"]) for one in asked.correlations]
    together = correlations([one.name for one in components], pairs)
    combined = combine(components, together)
    factor = _factor(asked.coverage, components, together, combined)
    U = fifty_digits(factor.k * combined.u)
    stated = U if floor is None else max(U, floor.U)
    reported = rounding.rounded_up(stated, asked.digits)
    answer: Record = {
        "point": {"value": format(value, "f"), "unit": unit},
        "components": _shown(parts, components, combined, unit),
        "u": rounding.text(combined.u),
        "u_rel_pct": _text(relative(combined.u, value)),
        "dof_effective": _text(combined.dof),
        "dof_for_k": combined.dof_for_k if factor.shown["method"] == coverage.STUDENT else None,
        "coverage": factor.shown,
        "k": rounding.text(factor.k),
        "U": rounding.text(U),
        "U_rel_pct": _text(relative(U, value)),
        "floor": _floor(floor, U, stated),
        "U_stated": rounding.text(stated),
        "k_stated": _k_stated(floor, factor.k, U, stated),
        "U_reported": plain(reported),
        "value_reported": plain(rounding.to_match(value, reported)),
    }
    if stated == U:
        answer |= _density(factor, components, together, combined)
    answer["reasons"] = reasons(answer, combined)
    answer["notes"] = _notes(asked, factor, components, together, combined, floor, U)
    return answer


def _component(term: Term, value: Decimal, unit: str) -> Component:
    sent = term.sent
    try:
        scale = _scale(sent, value, unit)
    except FieldError as error:
        raise FieldError(f"{term.place}{error.field}", str(error)) from None
    sensitivity = Fraction(sent.get("sensitivity", 1))
    return Component(sent["name"], term.standard, scale, sensitivity)


def _scale(sent: Mapping[str, Any], value: Decimal, unit: str) -> Fraction:
    """Return what one unit of the figure is in the input's: the point's, or its own unit."""
    own = sent.get("unit", unit)
    known = own == unit or (is_force(own) and is_force(unit))
    if own != unit:
        _check_unit(own)
    if not known and "sensitivity" not in sent:
        detail = f"{own} acts on a result in {unit} through a sensitivity; give it in {unit}/{own}"
        raise FieldError("/sensitivity", detail)
    factor = convert(_ONE, own, unit) if known else _ONE
    if not sent.get("relative"):
        if "of" in sent:
            raise FieldError("/of", "only a relative figure is of something; add relative: true")
        return factor
    if "of" in sent:
        return abs(Fraction(sent["of"])) * factor / 100
    if not known:
        raise FieldError("/of", f"a percentage of what, in {own}? give of")
    return abs(Fraction(value)) / 100


def _check_unit(unit: str) -> None:
    try:
        check_unit(unit)
    except UnknownUnit as unknown:
        raise FieldError("/unit", str(unknown)) from None


def _check_names(parts: Sequence[Term]) -> None:
    seen: set[str] = set()
    for one in parts:
        name = one.sent["name"]
        if name in seen:
            detail = f"a second component is named {name}; give each its own name"
            raise FieldError(f"{one.place}/name", detail)
        seen.add(name)


def _factor(
    asked: Mapping[str, Any],
    components: Sequence[Component],
    together: Correlations,
    combined: Combined,
) -> Factor:
    if "k" in asked:
        k: Decimal = asked["k"]
        return Factor(k, {"method": coverage.STATED, "probability_pct": None})
    percent: Decimal = asked.get("probability_pct", coverage.USUAL_PROBABILITY)
    method = asked.get("method", coverage.STUDENT)
    shown: Record = {"method": method, "probability_pct": rounding.text(percent)}
    if method == coverage.STUDENT:
        return Factor(coverage.student_factor(percent, combined.dof_for_k), shown)
    names = asked.get("components")
    if names is not None:
        place = "/coverage/components"
        trapezoid = coverage.named_trapezoid(components, together, names, place)
    else:
        trapezoid = _dominant(components, together)
    rest = [one for one in components if one.name not in trapezoid.names]
    found = coverage.dominated_factor(percent, trapezoid, combined, rest)
    shown |= {
        "components": list(trapezoid.names),
        "half_width": rounding.text(trapezoid.half_width),
        "beta": rounding.text(trapezoid.beta),
        "rest_over_dominant": rounding.text(found.rest_ratio),
    }
    return Factor(found.k, shown, trapezoid)


def _density(
    factor: Factor, components: Sequence[Component], together: Correlations, combined: Combined
) -> Record:
    """Return the shape of a trapezoid that outweighs the rest, or that k was asked of."""
    trapezoid = factor.trapezoid or coverage.dominant(components, together)
    if trapezoid is None:
        return {}
    rest = [one for one in components if one.name not in trapezoid.names]
    variance, dof = coverage.rest_of(trapezoid, combined, rest)
    ratio = shortened(rounding.root(variance / trapezoid.variance))
    if ratio > MOST_REST:
        return {}
    shape = Density(
        shortened(trapezoid.beta), ratio, None if dof is None or dof < 1 else shortened(dof)
    )
    return {"density": shape.to_mapping()}


def _dominant(components: Sequence[Component], together: Correlations) -> coverage.Trapezoid:
    found = coverage.dominant(components, together)
    if found is None:
        raise FieldError(
            "/coverage",
            "no rectangle or trapezoid, and no two rectangles, outweigh the rest (its u at most "
            f"{coverage.DOMINANCE} of theirs); leave the method out, or name components",
        )
    return found


def _shown(
    parts: Sequence[Term], components: Sequence[Component], combined: Combined, unit: str
) -> list[Record]:
    shown = []
    for i, (part, one) in enumerate(zip(parts, components, strict=True)):
        sent, made = part.sent, one.standard
        own = sent.get("unit", unit)
        kept = own != unit and not (is_force(own) and is_force(unit))
        answer: Record = {"name": one.name, "kind": sent.get("kind")}
        answer |= {"distribution": part.distribution, "figure": rounding.text(made.figure)}
        if sent.get("relative"):
            answer["relative"] = True
        answer["divisor"] = made.divisor
        if made.mean is not None:
            answer["mean"] = rounding.text(made.mean)
        answer |= {
            "u": rounding.text(rounding.root(one.input_variance)),
            "unit": own if kept else unit,
            "sensitivity": rounding.text(one.sensitivity),
            "contribution": rounding.text(rounding.root(one.variance)),
            "dof": _text(made.dof),
            "share": None if combined.shares is None else rounding.text(combined.shares[i]),
            "source": sent.get("source"),
        }
        optional = ("kind", "source")
        shown.append({n: p for n, p in answer.items() if p is not None or n not in optional})
    return shown


def _k_stated(floor: Capability | None, k: Decimal, U: Decimal, stated: Decimal) -> str:
    """Return the k that belongs to the U that is stated: the capability's where that is its U."""
    return rounding.text(k if floor is None or stated == U else floor.cmc.k)


def _floor(floor: Capability | None, U: Decimal, stated: Decimal) -> Record | None:
    if floor is None:
        return None
    return {
        "cmc": floor.cmc.id,
        "version": floor.cmc.version,
        "mode": floor.cmc.mode,
        "U_cmc": rounding.text(floor.U),
        "applied": stated > U,
    }


def _notes(
    asked: Asked,
    factor: Factor,
    components: Sequence[Component],
    together: Correlations,
    combined: Combined,
    floor: Capability | None,
    U: Decimal,
) -> list[str]:
    notes = dof_notes(combined, components)
    if factor.shown["method"] == coverage.STUDENT and combined.variance:
        trapezoid = coverage.dominant(components, together)
        if trapezoid is not None:
            percent = Decimal(factor.shown["probability_pct"])
            rest = [one for one in components if one.name not in trapezoid.names]
            found = coverage.dominated_factor(percent, trapezoid, combined, rest)
            notes.append(dominance_note(found, percent, factor.k))
    if floor is not None:
        notes += floor_note(floor, U, asked.coverage)
    return notes


def _text(number: Fraction | Decimal | None) -> str | None:
    return None if number is None else rounding.text(number)
