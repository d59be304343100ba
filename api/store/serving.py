"""When the value of each revision of a certificate serves uses: stored, and derived anew.

The derivation from all revisions of a number is `graph.serving`.

Not decided here: which of several certificates of an item counts (`api.store.in_force`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, bindparam, select, update
from sqlalchemy.orm import Session, aliased

from api.store.chunks import chunks
from api.store.tables import Certificate
from graph.serving import Revision, Serves, serving

Number = tuple[str, str]
Other = aliased(Certificate)


def refresh_after(session: Session, first_certificate: int) -> set[int]:
    """Derive anew what certificates recorded from this key on make or change.

    A number of which no other revision is there changes nobody else and was given its interval when
    it was inserted. Returns the keys of the items of which an older certificate now serves at other
    times.
    """
    new = aliased(Certificate)
    # Not DISTINCT: SQLite would read the numbers of all certificates for it.
    several = (
        select(new.issuer, new.number)
        .join(Other, (Other.number == new.number) & (Other.issuer == new.issuer))
        .where(new.id >= first_certificate, Other.id != new.id)
    )
    numbers = {(row.issuer, row.number) for row in session.execute(several)}
    return _refresh(session, numbers, first_certificate)


def refresh(session: Session, numbers: Iterable[Number]) -> set[int]:
    """Derive anew when each revision of these (issuer, number) serves.

    Returns the keys of the items whose certificates now serve at other times.
    """
    return _refresh(session, numbers, None)


def _refresh(session: Session, numbers: Iterable[Number], before: int | None) -> set[int]:
    session.flush()
    changed = set[int]()
    for some in chunks(sorted(set(numbers))):
        of_them = Certificate.number.in_(sorted({number for _, number in some}))
        rows = _rows(session, of_them, yield_per=None)
        changes = [
            (row.item_id, row.id, serves)
            for number, group in groupby(rows, key=_number)
            if number in set(some)
            for row, serves in _changed(list(group))
        ]
        changed.update(item for item, key, _ in changes if before is None or key < before)
        _write(session, {key: serves for _, key, serves in changes})
    return changed


def astray(session: Session) -> list[tuple[str, int]]:
    """Number and revision of every certificate whose stored interval is not the derived one."""
    every = _rows(session, Certificate.id.is_not(None), yield_per=10_000)
    return [
        (row.number, row.revision)
        for _, group in groupby(every, key=_number)
        for row, _ in _changed(list(group))
    ]


def _rows(
    session: Session, which: ColumnElement[bool], yield_per: int | None
) -> Iterable[Row[Any]]:
    """What is stored and what decides, in the order of the numbers."""
    statement: Select[Any] = select(
        Certificate.id,
        Certificate.item_id,
        Certificate.issuer,
        Certificate.number,
        Certificate.serves_from_us,
        Certificate.serves_until_us,
        *(getattr(Certificate, name) for name in Revision._fields),
    )
    ordered = statement.where(which).order_by(Certificate.issuer, Certificate.number)
    return session.execute(ordered.execution_options(yield_per=yield_per))


def _number(row: Row[Any]) -> Number:
    return row.issuer, row.number


def _changed(revisions: Sequence[Row[Any]]) -> Iterator[tuple[Row[Any], Serves]]:
    """Rows of one number whose stored interval is not what it should be, with that."""
    derived = serving([Revision(*row[-len(Revision._fields) :]) for row in revisions])
    for row, serves in zip(revisions, derived, strict=True):
        if serves != (row.serves_from_us, row.serves_until_us):
            yield row, serves


def _write(session: Session, changes: Mapping[int, Serves]) -> None:
    if not changes:
        return
    statement = (
        update(Certificate)
        .where(Certificate.id == bindparam("key"))
        .values(serves_from_us=bindparam("first"), serves_until_us=bindparam("end"))
    )
    rows = [{"key": key, "first": one.from_us, "end": one.until_us} for key, one in changes.items()]
    session.connection().execute(statement, rows)
    session.expire_all()
