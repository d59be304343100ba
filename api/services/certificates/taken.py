"""What a corrected revision takes from its errors, fault by fault and point by point.

Of several faults the recall gives one effect at each point. What each of them did alone is worked
out again, so that a later recall of one of them finds what was taken for it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction

import orjson
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue
from api.services.base.record import Record
from api.services.recalls.differences import bounds_of
from api.services.recalls.reading_results import Judged, judged
from api.services.recalls.run import recall
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Recall
from graph.exact import root, text
from graph.model import Point
from graph.recall import AFFECTED

# As fault records name what is faulty.
NAMED = ("item", "channel", "certificate", "revision", "issuer", "method", "kind")
# What each fault did alone adds up to what all did, but for digits that are not kept.
SAME = Decimal("1e-11")
# U after is kept with 12 digits; where the fault widens it by much, these of the rest are sure.
_KEPT = 9


# Affected entries by the key of their certificate.
Alone = dict[int, Record]


def each_alone(session: Session, stored: Recall, keys: Collection[int], now_us: int) -> list[Alone]:
    """Return the entries of certificates in a recall of each fault alone; none of a single fault.

    Parameters
    ----------
    session : Session
        Which sees today's records.
    stored : Recall
        The recall.
    keys : collection of int
        Certificates, by key.
    now_us : int
        Microseconds since 1970.

    Returns
    -------
    list of dict
        One for each fault: its affected entries by the key of the certificate.
    """
    if len(stored.faults) == 1:
        return []
    return [_alone(session, fault, keys, now_us) for fault in stored.faults]


def _alone(session: Session, fault: Record, keys: Collection[int], now_us: int) -> Alone:
    found = recall(session, {"faults": [fault]}, now_us).lists[AFFECTED]
    return {one.certificate: orjson.loads(one.text) for one in found if one.certificate in keys}


def taken(
    session: Session,
    stored: Recall,
    certificate: int,
    entry: Record,
    alone: Sequence[Alone],
) -> Record:
    """Return what is taken from one certificate, as its next revision keeps it.

    Parameters
    ----------
    session : Session
        Which sees its results.
    stored : Recall
        The recall.
    certificate : int
        By key.
    entry : dict
        Of the certificate in the recall.
    alone : sequence of dict
        From `each_alone`.

    Returns
    -------
    dict
        Recall, faults, windows, and by point delta_rel and, where U is widened, `u_rel`: the
        standard uncertainty of delta_rel. Of several faults `by_fault` says the same of each.

    Raises
    ------
    Conflict
        If the faults do not add up to what the recall says, since records were added later.
    """
    read = judged(Recorded(SessionReader(session)), [certificate])
    points = read.get(certificate, [])
    made: Record = {
        "recall": stored.number,
        "faults": [{name: one[name] for name in NAMED if name in one} for one in stored.faults],
        "windows": bounds_of(orjson.loads(stored.head)),
        "points": _points(entry, points),
    }
    if alone:
        nothing = [{"delta_rel": "0"} for _ in points]
        made["by_fault"] = [
            _points(found[certificate], points) if certificate in found else nothing
            for found in alone
        ]
        _refuse_other_sum(entry, made)
    return made


def _points(entry: Record, points: Sequence[Judged]) -> list[Record]:
    return [_taken_at(one, point) for one, (point, _) in zip(entry["points"], points, strict=True)]


def _taken_at(one: Record, point: Point) -> Record:
    made = {name: one[name] for name in ("point", "stage", "delta_rel")}
    spread = _widened(point, one.get("U_after"))
    return made | ({"u_rel": text(spread)} if spread else {})


def _widened(point: Point, after: str | None) -> Decimal | None:
    """The standard uncertainty of delta that widens U to what it is after."""
    if after is None or point.U is None or not point.applied:
        return None
    squared = Fraction(after) ** 2 - Fraction(point.U) ** 2
    if squared <= 0:
        return None
    spread, _ = root(squared / Fraction(point.k * point.applied) ** 2)
    over, under = spread.as_integer_ratio()
    with localcontext(prec=_KEPT):
        return (Decimal(over) / Decimal(under)).normalize()


def _refuse_other_sum(entry: Record, made: Record) -> None:
    for place, point in enumerate(entry["points"]):
        total = Decimal(point["delta_rel"])
        single = [Decimal(points[place]["delta_rel"]) for points in made["by_fault"]]
        if abs(sum(single) - total) > SAME * max(map(abs, [total, *single])):
            what = "its faults no longer add up to what the recall says"
            remedy = 'report the faults again with "previous", and correct it for that recall'
            name = f"{entry['certificate']} rev. {entry['revision']}"
            raise Conflict(f"{name}: {what}", [Issue("", what, remedy, name)])
