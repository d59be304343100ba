"""Which loads went through which parts, read from uses, compositions and load events.

A span says that a part was loaded whenever its carrier was, from (inclusive) until (exclusive): the
part itself always, an assembly while it held the part, directly or through others. Spans are few
and are walked here; the uses are many and are joined to them in one statement, summed by the
database.

One calibration event has one row for each part, whatever revisions its certificate has and however
often the part was used in it: the issued revision counts, else the highest. What happened to the
certificate does not matter, for the load was applied: drafts and voided ones count.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy import (
    CTE,
    BigInteger,
    ColumnElement,
    Row,
    Select,
    and_,
    case,
    column,
    exists,
    func,
    or_,
    select,
    union_all,
    values,
)
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.fitting import LoadEvent
from api.store.tables import Certificate, Check, Composition, Usage

EVER, NEVER = -(2**62), 2**62  # bounds in the place of nulls, which do not compare
PARTS_A_STATEMENT = 200
INSPECTION = "inspection"
_COLUMNS = ("part", "carrier", "from_us", "until_us", "base_us")
Other = aliased(Certificate)
Rows = Sequence[Row[*tuple[Any, ...]]]


class Span(NamedTuple):
    """A part is loaded when its carrier is; `base_us` is when the count of the part begins."""

    part: int
    carrier: int
    from_us: int
    until_us: int
    base_us: int = EVER


class Total(NamedTuple):
    """Applications of a part after its base, taken back before it, and in the last days."""

    part: int
    after: int
    before: int
    recent: int


def spans(session: Session, bases: dict[int, int]) -> list[Span]:
    """Return the spans of parts, given with when their count begins, upwards through assemblies."""
    frontier = [Span(part, part, EVER, NEVER, base) for part, base in sorted(bases.items())]
    found = list(frontier)
    while frontier:
        holdings = _holdings(session, {one.carrier for one in frontier})
        above = []
        for one in frontier:
            for assembly, from_us, until_us in holdings.get(one.carrier, ()):
                start, end = max(one.from_us, from_us), min(one.until_us, until_us)
                # Holdings that never overlapped carry nothing; this also ends every walk, since
                # no part is within itself at one instant.
                if start < end:
                    above.append(Span(one.part, assembly, start, end, one.base_us))
        found += above
        frontier = above
    return found


def totals(session: Session, loaded: Sequence[Span], at_us: int, since_us: int) -> Iterator[Total]:
    """Sum the applications of calibrations for each part, up to `at_us`.

    `before` are those later than `at_us` and not later than the base: they are taken back when the
    count is asked for an instant before the base.
    """
    for some in _by_part(loaded):
        uses = _uses(some).subquery()
        then = uses.c.used_us <= at_us
        after = and_(uses.c.used_end_us > uses.c.base_us, then)
        before = and_(uses.c.used_end_us <= uses.c.base_us, uses.c.used_us > at_us)
        recent = and_(uses.c.used_end_us > since_us, then)
        statement = select(uses.c.part, *(_sum(uses, one) for one in (after, before, recent)))
        for row in session.execute(statement.group_by(uses.c.part)):
            yield Total(row[0], *(int(number or 0) for number in row[1:]))


def uses(session: Session, loaded: Sequence[Span]) -> Rows:
    """Return (part, base_us, certificate_id, used_us, used_end_us, applications) in order of time.

    Calibrations in which no load application was counted are left out.
    """
    rows = [row for some in _by_part(loaded) for row in session.execute(_uses(some))]
    return sorted(rows, key=lambda row: (row.used_us, row.certificate_id))


def events(session: Session, loaded: Sequence[Span]) -> list[tuple[int, LoadEvent]]:
    """Return (part, event) for the load events of parts and of what held them then, by time."""
    found = []
    for some in _by_part(loaded):
        span = _table(some)
        held = _loaded(span, LoadEvent.item_id, LoadEvent.at_us, LoadEvent.at_end_us)
        statement = select(span.c.part, LoadEvent).join(LoadEvent, held).distinct()
        found += [(part, event) for part, event in session.execute(statement)]
    return sorted(found, key=lambda one: (one[1].at_us, one[1].code, one[0]))


def last_inspections(
    session: Session, items: Collection[int], *, passed_until_us: int | None = None
) -> dict[int, Check]:
    """Return the latest inspection of each item: a check of that kind, or one that measured wear.

    With `passed_until_us` only those that passed, up to that instant, are looked at. Of two at one
    instant the later recorded one counts.
    """
    found: dict[int, Check] = {}
    wanted = [
        Check.withdrawn.is_(False),
        or_(Check.kind == INSPECTION, Check.wear_pct.is_not(None)),
    ]
    if passed_until_us is not None:
        wanted += [Check.result == "pass", Check.performed_us <= passed_until_us]
    for some in chunks(sorted(items)):
        statement = select(Check).where(Check.item_id.in_(some), *wanted)
        for check in session.scalars(statement.order_by(Check.performed_us, Check.id)):
            found[check.item_id] = check
    return found


def _holdings(session: Session, parts: Iterable[int]) -> dict[int, list[tuple[int, int, int]]]:
    found: dict[int, list[tuple[int, int, int]]] = {}
    for some in chunks(sorted(parts)):
        for one in session.execute(
            select(
                Composition.part_id,
                Composition.assembly_id,
                Composition.from_us,
                Composition.until_us,
            ).where(Composition.part_id.in_(some), Composition.withdrawn.is_(False))
        ):
            until_us = NEVER if one.until_us is None else one.until_us
            found.setdefault(one.part_id, []).append((one.assembly_id, one.from_us, until_us))
    return found


def _by_part(loaded: Sequence[Span]) -> Iterator[list[Span]]:
    """Cut spans into statements; those of one part stay together, so that nothing counts twice."""
    by_part: dict[int, list[Span]] = {}
    for one in loaded:
        by_part.setdefault(one.part, []).append(one)
    for parts in chunks(sorted(by_part), PARTS_A_STATEMENT):
        yield [one for part in parts for one in by_part[part]]


def _table(some: Sequence[Span]) -> CTE:
    columns = [column(name, BigInteger) for name in _COLUMNS]
    return values(*columns, name="span").data([tuple(one) for one in some]).cte("span")


def _uses(some: Sequence[Span]) -> Select[*tuple[Any, ...]]:
    """One row for each part and calibration event that loaded it."""
    span, carriers = _table(some), sorted({one.carrier for one in some})
    own = (span.c.part, span.c.base_us)
    used = select(*own, Usage.certificate_id, Usage.used_us, Usage.used_end_us).join(
        Usage, _loaded(span, Usage.item_id, Usage.used_us, Usage.used_end_us)
    )
    performed = (Certificate.performed_us, Certificate.performed_end_us)
    calibrated = select(*own, Certificate.id, *performed).join(
        Certificate, _loaded(span, Certificate.item_id, *performed)
    )
    # Named keys too: SQLite knows nothing of the size of a VALUES table and would scan all uses.
    both = union_all(
        used.where(Usage.item_id.in_(carriers)),
        calibrated.where(Certificate.item_id.in_(carriers)),
    ).subquery()
    part, base, certificate, start, end = both.c
    better = or_(Other.status == "issued", Other.revision > Certificate.revision)
    replaced = exists().where(
        Other.issuer == Certificate.issuer, Other.number == Certificate.number, better
    )
    return (
        select(
            part.label("part"),
            base.label("base_us"),
            Certificate.id.label("certificate_id"),
            func.min(start).label("used_us"),
            func.max(end).label("used_end_us"),
            Certificate.load_applications.label("applications"),
        )
        .join(Certificate, Certificate.id == certificate)
        .where(
            Certificate.load_applications > 0,
            or_(Certificate.status == "issued", ~replaced),
        )
        .group_by(part, base, Certificate.id, Certificate.load_applications)
    )


def _loaded(span: CTE, item: Any, start: Any, end: Any) -> ColumnElement[bool]:
    return and_(item == span.c.carrier, span.c.from_us <= end, span.c.until_us > start)


def _sum(uses: Any, condition: ColumnElement[bool]) -> Any:
    return func.sum(case((condition, uses.c.applications), else_=0))
