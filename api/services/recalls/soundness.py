"""What spoke for an item and against it, in order of time: checks, and calibrations with results.

Against it speak a failed check or inspection and a result as found (or single, which is as found
and as left in one) that its rule fails, on condition too; what was reported counts where no rule
can tell. For it speak a passed check or inspection, and a calibration whose results as left (or
single) do not fail. Of two at one instant the failure comes first, so that the values as left of a
calibration follow those as found. Only what is issued and not withdrawn counts.

Not considered: whether a check was good enough to see anything; a recall asks that.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from typing import NamedTuple

from sqlalchemy.orm import Session

from api.rules.rule import NO_STATEMENT
from api.rules.verdicts import FAILING
from api.services.base.record import Record
from api.services.recalls.reading import AT_ONCE
from api.services.recalls.reading_results import Judged, judged
from api.store.chunks import chunks
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.sources import Recorded

AS_FOUND, AS_LEFT, SINGLE = "as_found", "as_left", "single"
_CHECK = "id", "item_id", "code", "kind", "performed_at", "performed_us", "performed_end_us"
_CERTIFICATE = (
    *("id", "item_id", "number", "revision", "issuer"),
    *("performed_at", "performed_us", "performed_end_us"),
)


class Evidence(NamedTuple):
    """One piece of evidence about an item.

    Attributes
    ----------
    at_us, end_us : int
        When, in microseconds; of a bare date its first and last.
    good : bool
        Whether it speaks for the item.
    item : int
        Key of the item.
    at : str
        When, as it was recorded.
    name : str
        Id of the check, or number of the certificate.
    check, certificate : int or None
        Key of the one that it is.
    revision : int or None
        Of the certificate.
    issuer : str
        Of the certificate; empty for our own.
    """

    at_us: int
    good: bool
    item: int
    end_us: int
    at: str
    name: str
    check: int | None = None
    certificate: int | None = None
    revision: int | None = None
    issuer: str = ""

    def shown(self) -> Record:
        """Return it as the API names it."""
        if self.check is not None:
            return {"check": self.name, "at": self.at}
        named: Record = {"certificate": self.name, "revision": self.revision}
        return named | ({"issuer": self.issuer} if self.issuer else {}) | {"at": self.at}


def histories(session: Session, items: Collection[int]) -> dict[int, list[Evidence]]:
    """Return the evidence about items, by their keys, in order of time, failures first."""
    found: dict[int, list[Evidence]] = defaultdict(list)
    for one in (*_checks(session, items), *_calibrations(session, items)):
        found[one.item].append(one)
    for some in found.values():
        some.sort(key=_order)
    return found


def next_after(history: Sequence[Evidence], at_us: int, failure: Evidence | None) -> Record | None:
    """Return what followed if it is good: the first evidence behind a failure, or an instant."""
    if failure is not None:
        place = history.index(failure) + 1
    else:
        place = sum(1 for one in history if one.at_us <= at_us)
    following = next(iter(history[place:]), None)
    return following.shown() if following is not None and following.good else None


def last_before(history: Sequence[Evidence], at_us: int) -> Record | None:
    """Return the last good evidence before an instant."""
    good = [one for one in history if one.good and one.at_us < at_us]
    return good[-1].shown() if good else None


def _order(one: Evidence) -> tuple[int, bool, str]:
    return one.at_us, one.good, one.name


def _checks(session: Session, items: Collection[int]) -> list[Evidence]:
    reader, table = SessionReader(session), "intermediate_check"
    columns = ", ".join(f"{table}.{name}" for name in (*_CHECK, "result"))
    rows = rows_of(reader, columns, table, "item_id", items, f"WHERE NOT {table}.withdrawn")
    return [
        Evidence(at_us, result != "fail", item, end_us, at, code, check=key)
        for key, item, code, _, at, at_us, end_us, result in rows
    ]


def _calibrations(session: Session, items: Collection[int]) -> list[Evidence]:
    reader, table = SessionReader(session), "certificate"
    columns = ", ".join(f"{table}.{name}" for name in _CERTIFICATE)
    also = f"WHERE {table}.status = 'issued'"
    rows = list(rows_of(reader, columns, table, "item_id", items, also))
    found = []
    for some in chunks(rows, AT_ONCE):
        results = judged(Recorded(reader), [row[0] for row in some])
        for key, item, number, revision, issuer, at, at_us, end_us in some:
            for good in said(results.get(key, ())):
                named = Evidence(at_us, good, item, end_us, at, number, None, key, revision, issuer)
                found.append(named)
    return found


def said(results: Sequence[Judged]) -> list[bool]:
    """Return what a calibration says of its item: False against it, as found; True for it, as left.

    A single result is both; where one stands as found, that alone says how it was found. A result
    of which its rule makes no statement speaks neither against the item nor for it. A conditional
    fail is a failure for alerts and grounds alike: the result lies outside its limit.
    """

    def verdicts(stages: Collection[str]) -> list[str | None]:
        return [
            stated.decided(point) or stated.reported
            for point, stated in results
            if point.stage in stages
        ]

    found, left = verdicts((AS_FOUND,)) or verdicts((SINGLE,)), verdicts((AS_LEFT, SINGLE))
    against = [False] if not set(found).isdisjoint(FAILING) else []
    good = left and set(left).isdisjoint({*FAILING, NO_STATEMENT})
    return [*against, True] if good else against
