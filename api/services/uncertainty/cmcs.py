"""Which capabilities (CMC) has the laboratory recorded? And which U is below them.

Choice: a capability is recorded once, in numbered versions, like a specification; the latest
version of each holds. Whether a result is below is worked out when it is read, so that a later
capability shows too; such a result is recorded and flagged, and stands against the issue of an
accredited certificate (``api.services.grounds.figures``). Certificates of others are not measured
by our capability.

Not checked: that the scope of accreditation says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound, UnknownReference
from api.rules.exact import FieldError
from api.rules.uncertainty import cmc as rules
from api.rules.uncertainty.rounding import text
from api.rules.units import is_force
from api.services.base.record import Record
from api.services.base.texts import texted
from api.services.base.units import PERCENT
from api.store import versions
from api.store.uncertainty import Cmc

_TERMS = ("U_rel_pct", "U_abs")


class Stated(NamedTuple):
    """What a result or budget states at a force; `U_unit` is the force's unit or %."""

    force: Decimal
    unit: str
    U: Decimal
    U_unit: str


@dataclass(frozen=True, slots=True)
class Scope:
    """The capabilities that hold now, for one mode and type of instrument."""

    cmcs: Sequence[rules.Cmc]
    mode: str | None
    instrument: str | None

    def at(self, force: Decimal, unit: str) -> rules.Capability | None:
        """Return the capability that counts for a force; None where none holds."""
        if not is_force(unit):
            return None
        return rules.capability(self.cmcs, force, unit, self.mode, self.instrument)

    def below(self, stated: Stated) -> Record | None:
        """Return the capability that a stated U is below, its U in the unit of that U, or None."""
        found = self.at(stated.force, stated.unit)
        if found is None or (stated.U_unit == PERCENT and not stated.force):
            return None
        allowed = Fraction(found.U)
        if stated.U_unit == PERCENT:
            allowed *= 100 / abs(Fraction(stated.force))
        if Fraction(stated.U) >= allowed:
            return None
        return {"cmc": found.cmc.id, "version": found.cmc.version, "U_cmc": text(allowed)}


def scope(session: Session, mode: str | None, instrument: str | None) -> Scope:
    """Return the capabilities that hold now, for a mode and a type of instrument."""
    return Scope([_rule(row) for row in versions.latest(session, Cmc)], mode, instrument)


def below_cmc(scope: Scope, result: Mapping[str, Any]) -> Record | None:
    """Return the capability that a recorded result's U is below, or None.

    A result without U, or without the force that it was applied at, is not compared.
    """
    force, unit = result.get("applied"), result.get("unit")
    if force is None or unit is None or not is_force(unit):
        return None
    for name, U_unit in (("U", unit), ("U_rel_pct", PERCENT)):
        if result.get(name) is not None:
            found = scope.below(Stated(force, unit, result[name], U_unit))
            if found is not None:
                return found
    return None


def resolve(session: Session, code: str, version: int | None, place: str) -> rules.Cmc:
    """Return a recorded capability, the latest version by default; raise UnknownReference."""
    row = versions.find(session, Cmc, code, version)
    if row is not None:
        return _rule(row)
    known = versions.versions(session, Cmc, code)
    if known:
        detail = f'CMC "{code}" has no version {version}'
        remedy = f"known versions: {', '.join(map(str, known))}"
    else:
        detail = f'CMC "{code}" is not recorded'
        ids = ", ".join(versions.codes(session, Cmc))
        remedy = f"known CMCs: {ids}" if ids else "none is recorded yet; record it first"
    raise UnknownReference(detail, [Issue(place, detail, remedy, code)])


def record_cmc(session: Session, sent: Mapping[str, Any], now_us: int) -> tuple[Record, bool]:
    """Record a capability as version 1 or the next one; return it and whether it is new.

    The same content as the latest version is not recorded again.

    Raises InvalidRecord for a range, unit or uncertainty that cannot be.
    """
    code = sent["id"]
    kept = texted({name: part for name, part in sent.items() if name != "id"})
    _check(_made(code, 1, kept))
    while True:
        latest = versions.find(session, Cmc, code)
        if latest is not None and latest.definition == kept:
            return _answer(latest), False
        version = 1 if latest is None else latest.cmc_version + 1
        row = {"code": code, "cmc_version": version, "definition": kept, "recorded_us": now_us}
        if versions.insert(session, Cmc, row) is not None:
            return {"id": code, "version": version, **kept}, True


def get_cmc(session: Session, code: str, version: int | None = None) -> Record:
    """Return a capability with all its versions; raise NotFound."""
    row = versions.find(session, Cmc, code, version)
    if row is None:
        named = f'CMC "{code}"' if version is None else f'CMC "{code}" version {version}'
        raise NotFound(f"{named} is not recorded")
    return _answer(row) | {"versions": versions.versions(session, Cmc, code)}


def list_cmcs(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], tuple[str] | None]:
    """Return the latest versions in the order of their ids, and the key to continue behind."""
    known = {row.code: row for row in versions.latest(session, Cmc)}
    found, key = versions.page_of(sorted(known), after, limit)
    return [_answer(known[code]) for code in found], key


def _check(cmc: rules.Cmc) -> None:
    try:
        rules.check(cmc)
    except FieldError as error:
        detail, _, remedy = str(error).partition("; ")
        raise InvalidRecord(detail, [Issue(error.field, detail, remedy)]) from None


def _answer(row: Cmc) -> Record:
    return {"id": row.code, "version": row.cmc_version, **row.definition}


def _rule(row: Cmc) -> rules.Cmc:
    return _made(row.code, row.cmc_version, row.definition)


def _made(code: str, version: int, kept: Mapping[str, Any]) -> rules.Cmc:
    span = kept["range"]
    U_rel_pct, U_abs = (None if (t := kept.get(n)) is None else Decimal(t) for n in _TERMS)
    return rules.Cmc(
        code,
        version,
        kept["mode"],
        Decimal(span["lower"]),
        Decimal(span["upper"]),
        span["unit"],
        U_rel_pct,
        U_abs,
        kept.get("combine", "sum"),
        kept.get("instrument_type"),
        Decimal(kept.get("k", "2")),
    )
