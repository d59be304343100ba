"""Which tolerance does a specification give at this force? Recorded once, in numbered versions.

Choice: a specification is data with its edition and source, because documents that nobody here
could open are quoted from memory and must say so. Limits are worked out in the unit of the result:
for a relative result everything becomes a percentage of the applied force. Of a result the nominal
is the applied force and the reading is what the instrument indicated.

Not checked: that the specification covers the instrument, or that its figures are right.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, UnknownReference
from api.rules.exact import FieldError, exact_arithmetic
from api.rules.limits import Limits, LimitsError, half_width, tolerance_offsets
from api.rules.units import UnknownUnit, is_force
from api.services.base.scales import scales_of
from api.services.base.texts import texted
from api.services.base.units import PERCENT, check_unit, in_unit
from api.services.batches.derived import SPECIFICATION, Result
from api.store import versions
from api.store.tables import Specification

Tolerance = str | Mapping[str, Any]
Applied = tuple[Decimal, str]
_COLUMNS = ("title", "edition", "source")
_REMEDY = "give a number, lower and upper in their order, or terms; absolute figures need a unit"
# What a specification may state of the instrument itself, and the terms that need it.
_OWN_SCALES = {"full_scale": "percent_of_full_scale", "resolution": "digits_of_resolution"}


class Bounds(NamedTuple):
    """Limits as decimals, in the unit of the result; None where there is none."""

    lower: Decimal | None
    upper: Decimal | None


@dataclass(frozen=True, slots=True)
class Definition:
    """One version of a specification.

    `tolerance` is a number as text (symmetric), `{"lower", "upper"}` (signed) or `{"terms",
    "combine"}`; it, `full_scale` and `resolution` are in `unit`, which only a tolerance made of
    percentages may lack.
    """

    id: str
    version: int
    tolerance: Tolerance
    unit: str | None = None
    full_scale: Decimal | None = None
    resolution: Decimal | None = None
    title: str | None = None
    edition: str | None = None
    source: str | None = None
    note: str | None = None

    def to_mapping(self) -> dict[str, Any]:
        """Return the JSON form, numbers as text, what is absent left out."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        texts = {name: texted(value) for name, value in found.items() if value is not None}
        return {"id": texts.pop("id"), "version": texts.pop("version"), **texts}

    @property
    def name(self) -> str:
        """What a statement of conformity calls it."""
        named = (self.title, self.edition, f"recorded as {self.id}, version {self.version}")
        return ", ".join(text for text in named if text)


def resolve_specification(
    session: Session, code: str, version: int | None = None
) -> tuple[Definition, int]:
    """Return a specification by id, the latest version by default, and its row id.

    Raises UnknownReference, whose remedy lists the known ids or versions.
    """
    row = versions.find(session, Specification, code, version)
    if row is not None:
        return _definition(row), row.id
    known = versions.versions(session, Specification, code)
    if known:
        detail = f'specification "{code}" has no version {version}'
        remedy = f"known versions: {', '.join(map(str, known))}"
    else:
        detail = f'specification "{code}" is not recorded'
        ids = ", ".join(versions.codes(session, Specification))
        remedy = f"known specifications: {ids}" if ids else "none is recorded yet; record it first"
    raise UnknownReference(detail, [Issue("/tolerance", detail, remedy, code)])


def get_specification(
    session: Session, code: str, version: int | None = None
) -> tuple[Definition, Sequence[int]]:
    """Return a specification as `resolve_specification` does and all versions; raise NotFound."""
    try:
        definition, _ = resolve_specification(session, code, version)
    except UnknownReference as unknown:
        raise NotFound(f"{unknown.detail}; {unknown.issues[0].remedy}") from None
    return definition, versions.versions(session, Specification, code)


def list_specifications(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Definition], tuple[str] | None]:
    """Return the latest versions in the order of their ids, and the key to continue behind."""
    known = {row.code: row for row in versions.latest(session, Specification)}
    found, key = versions.page_of(sorted(known), after, limit)
    return [_definition(known[code]) for code in found], key


def record_specification(
    session: Session, sent: Mapping[str, Any], now_us: int
) -> tuple[Definition, bool]:
    """Record a specification, as version 1 or the next one; return it and whether it is new.

    The same content as the latest version is not recorded again.

    Raises InvalidRecord for a tolerance that cannot be used.
    """
    given = {**sent, "tolerance": texted(sent["tolerance"])}
    definition = Definition(version=1, **given)
    _check(definition)
    while True:
        row = versions.find(session, Specification, definition.id)
        if row is not None:
            definition = replace(definition, version=row.spec_version)
            if _definition(row) == definition:
                return _definition(row), False
            definition = replace(definition, version=row.spec_version + 1)
        if versions.insert(session, Specification, _values(definition, now_us)) is not None:
            return definition, True


@dataclass(frozen=True, slots=True)
class Specifications:
    """The specifications that the rows of a batch may name, by id; asked for limits."""

    known: Mapping[str, Definition]

    def __call__(self, code: str, result: Result) -> Bounds:
        """Return the limits that a specification gives for a result; raises FieldError."""
        definition = self.known.get(code)
        if definition is None:
            known = f"known: {', '.join(self.known)}" if self.known else "none is known yet"
            where = f"/{SPECIFICATION}"
            raise FieldError(where, f"specification {code!r} is not known; {known}")
        centre, unit = result.nominal or Decimal(0), result.unit
        applied = (centre, unit) if centre and unit is not None and is_force(unit) else None
        try:
            return limits_at(
                definition, centre, unit=unit, scales=scales_of(*result), applied=applied
            )
        except FieldError as error:
            raise FieldError(f"/{SPECIFICATION}", f"{code}: {error}") from None


def known_specifications(session: Session) -> Specifications:
    """Return the latest version of every recorded specification."""
    return Specifications(
        {row.code: _definition(row) for row in versions.latest(session, Specification)}
    )


def specifications_from(loaded: Iterable[Mapping[str, Any]]) -> Specifications:
    """Return specifications that are not recorded, as loaded by their schema.

    Raises InvalidRecord for a tolerance that cannot be used, Conflict for an id that stands twice.
    """
    known: dict[str, Definition] = {}
    for sent in loaded:
        definition = Definition(version=1, **{**sent, "tolerance": texted(sent["tolerance"])})
        if definition.id in known:
            raise Conflict(f'the specification "{definition.id}" stands twice')
        _check(definition)
        known[definition.id] = definition
    return Specifications(known)


def specification_of(session: Session, key: int) -> Definition:
    """Return a recorded version of a specification by its row id."""
    return _definition(session.get_one(Specification, key))


def specification_names(session: Session, keys: Iterable[int | None]) -> dict[int, str]:
    """Return what a statement calls recorded versions of specifications, by their row ids."""
    wanted = {key for key in keys if key is not None}
    if not wanted:
        return {}
    rows = session.scalars(select(Specification).where(Specification.id.in_(wanted)))
    return {row.id: _definition(row).name for row in rows}


def limits_of_error(definition: Definition, result: Mapping[str, Any]) -> Bounds:
    """Return the limits of the error of a recorded result, in its unit or in percentage points.

    Raises LimitsError where the result lacks what the tolerance is a share of.
    """
    applied, unit = result.get("applied"), result.get("unit")
    force = None if applied is None or unit is None else (applied, unit)
    error, reading = result.get("error"), result.get("indicated")
    nominal = applied
    with exact_arithmetic():
        if error is None and result.get("error_rel_pct") is not None:
            unit, nominal = PERCENT, Decimal(100)
            reading = nominal + result["error_rel_pct"]
        elif reading is None and applied is not None and error is not None:
            reading = applied + error
    scales = {"nominal": nominal, "reading": reading}
    return limits_at(definition, Decimal(0), unit=unit, scales=scales, applied=force)


def limits_at(
    definition: Definition,
    centre: Decimal,
    *,
    unit: str | None,
    scales: Mapping[str, Decimal | None],
    applied: Applied | None,
) -> Bounds:
    """Return the limits around `centre`, in `unit`.

    `scales` holds `nominal` and `reading` in `unit`, and `full_scale` and `resolution` where the
    instrument's own take the place of the specification's. `applied` is the applied force, which
    percentages of a force need.

    Raises LimitsError with the part of the tolerance that cannot be used.
    """
    known = {name: value for name, value in scales.items() if value is not None}
    kinds = {term["kind"] for term in _terms(definition.tolerance)}
    for name, kind in _OWN_SCALES.items():
        own: Decimal | None = getattr(definition, name)
        if own is not None and name not in known and kind in kinds:
            known[name] = in_unit(own, definition.unit, unit, applied)
    tolerance = _converted(definition, unit, applied)
    return limits_around(centre, tolerance, known)


def limits_around(centre: Decimal, tolerance: object, scales: Mapping[str, Decimal]) -> Bounds:
    """Return the limits `centre` + tolerance; all numbers in one unit. Raises LimitsError."""
    lower: Decimal | None
    upper: Decimal | None
    if isinstance(tolerance, Mapping) and "terms" in tolerance:
        upper = half_width(tolerance, scales)
        lower = upper.copy_negate()
    else:
        lower, upper = tolerance_offsets(tolerance)
    with exact_arithmetic():
        bounds = Bounds(
            None if lower is None else centre + lower, None if upper is None else centre + upper
        )
    Limits(*bounds)  # refuses limits that are crossed over
    return bounds


def _converted(definition: Definition, unit: str | None, applied: Applied | None) -> object:
    """Return the tolerance with its absolute parts in `unit`."""
    tolerance = definition.tolerance

    def absolute(text: str) -> Decimal:
        return in_unit(Decimal(text), definition.unit, unit, applied)

    if not isinstance(tolerance, Mapping):
        return absolute(tolerance)
    if "terms" not in tolerance:
        return {side: absolute(limit) for side, limit in tolerance.items()}
    terms = [
        {**term, "value": absolute(term["value"])} if term["kind"] == "absolute" else term
        for term in tolerance["terms"]
    ]
    return {**tolerance, "terms": terms}


def _check(definition: Definition) -> None:
    """Refuse what no result could be judged by: an odd tolerance, or numbers without a unit."""
    ones = dict.fromkeys(("nominal", "reading", "full_scale", "resolution"), Decimal(1))
    try:
        limits_around(Decimal(0), definition.tolerance, ones)
        if definition.unit is not None:
            check_unit(definition.unit)
        elif _has_quantities(definition):
            raise LimitsError("/unit", f"a unit is needed, such as kN, or {PERCENT} of the force")
    except LimitsError as error:
        # Crossed limits are named without the tolerance that they came from.
        crossed = error.field in ("/lower", "/upper")
        place = f"/tolerance{error.field}" if crossed else error.field
        raise InvalidRecord(str(error), [Issue(place, str(error), _REMEDY)]) from None
    except UnknownUnit as unknown:
        issue = Issue("/unit", str(unknown), value=definition.unit)
        raise InvalidRecord(str(unknown), [issue]) from None


def _has_quantities(definition: Definition) -> bool:
    if definition.full_scale is not None or definition.resolution is not None:
        return True
    terms = _terms(definition.tolerance)
    return not terms or any(term["kind"] == "absolute" for term in terms)


def _terms(tolerance: Tolerance) -> Sequence[Mapping[str, str]]:
    terms: Sequence[Mapping[str, str]] = ()
    if isinstance(tolerance, Mapping):
        terms = tolerance.get("terms", ())
    return terms


def _definition(row: Specification) -> Definition:
    kept = dict(row.definition)
    for name in ("full_scale", "resolution"):
        if name in kept:
            kept[name] = Decimal(kept[name])
    columns = {name: getattr(row, name) for name in _COLUMNS}
    return Definition(id=row.code, version=row.spec_version, **columns, **kept)


def _values(definition: Definition, now_us: int) -> dict[str, Any]:
    kept = definition.to_mapping()
    del kept["id"], kept["version"]
    return {
        "code": definition.id,
        "spec_version": definition.version,
        **{name: kept.pop(name, None) for name in _COLUMNS},
        "definition": kept,
        "recorded_us": now_us,
    }
