"""What a corrected revision takes from its errors, fault by fault and point by point.

Of several faults the recall gives one effect at each point. What each of them did alone is worked
out again, so that a later recall of one of them finds what was taken for it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from zoneinfo import ZoneInfo

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue
from api.services.base.record import Record
from api.services.recalls.differences import bounds_of
from api.services.recalls.entries import is_given_back
from api.services.recalls.giving_back import numbers_of
from api.services.recalls.reading_results import Judged, judged
from api.services.recalls.run import recall_from
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate, Recall
from graph.exact import root, text
from graph.lists import AFFECTED
from graph.model import Point
from graph.moments import instant_us

# As fault records name what is faulty.
NAMED = ("item", "channel", "certificate", "revision", "issuer", "method", "kind")
# What each fault did alone adds up to what all did, but for digits that are not kept.
SAME = Decimal("1e-11")
# U after is kept with 12 digits; where the fault widens it by much, these of the rest are sure.
_KEPT = 9
_MANY = 60  # more than any delta has


UTC = ZoneInfo("UTC")  # windows are written in it
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
    if len(stored.faults) == 1 and stored.previous_id is None:
        return []
    return [_alone(session, fault, keys, now_us) for fault in stored.faults]


def _alone(session: Session, fault: Record, keys: Collection[int], now_us: int) -> Alone:
    source = Recorded(SessionReader(session))
    found = recall_from(source, {"faults": [fault]}, now_us).lists[AFFECTED]
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
        Recall, faults, windows, by point delta_rel and, where U is widened, `u_rel`: the standard
        uncertainty of delta_rel, and how the faults came to it. Of several faults `by_fault` says
        the same of each.

    Raises
    ------
    Conflict
        If the faults do not add up to what the recall says, since records were added later.
    """
    read = judged(Recorded(SessionReader(session)), [certificate])
    points = read.get(certificate, [])
    faults = [{name: one[name] for name in NAMED if name in one} for one in stored.faults]
    windows = bounds_of(orjson.loads(stored.head))
    made: Record = {
        "recall": stored.number,
        "faults": faults,
        "windows": _with_given_back(session, stored, certificate, faults, windows),
        "points": _points(entry, points),
        "reason_paths": entry["reason_paths"],
        "generation": entry["generation"],
    }
    if alone:
        made["by_fault"] = [
            _points(found[certificate], points)
            if certificate in found
            else [{"delta_rel": "0"} for _ in points]
            for found in alone
        ]
        if is_given_back(entry):
            _book_given_back(session, stored, entry, made)
        _refuse_other_sum(entry, made)
    return made


def _book_given_back(session: Session, stored: Recall, entry: Record, made: Record) -> None:
    """Say of what no fault of a look does, and earlier looks took, for what it had been taken.

    A later recall of that then finds that it was given back.
    """
    looks = numbers_of(session, stored) - {stored.number}
    named_before = set[int]()
    earlier = session.scalars(select(Recall).where(Recall.number.in_(looks)).order_by(Recall.id))
    for look in earlier:
        for fault, window in zip(look.faults, bounds_of(orjson.loads(look.head)), strict=True):
            named = {name: fault[name] for name in NAMED if name in fault}
            place = next((n for n, one in enumerate(made["faults"]) if _same(one, named)), None)
            if place is None:
                made["faults"].append(named)
                made["windows"].append(window)
            elif place < len(made["by_fault"]):
                named_before.add(place)
            else:
                made["windows"][place] = _joined(made["windows"][place], window)
    with localcontext(prec=_MANY):
        left = [
            Decimal(point["delta_rel"]) - sum(Decimal(one["delta_rel"]) for one in at_point)
            for point, *at_point in zip(entry["points"], *made["by_fault"], strict=True)
        ]
    # Of several things that looks were wrong about, the first that no fault names has it all; if
    # this look names them all, the first of them that it was wrong about before.
    unnamed = len(made["faults"]) - len(made["by_fault"])
    made["by_fault"] += [[{"delta_rel": "0"} for _ in left] for _ in range(unnamed)]
    place = len(made["by_fault"]) - unnamed if unnamed else min(named_before, default=0)
    for point, rest in zip(made["by_fault"][place], left, strict=True):
        point["delta_rel"] = format(Decimal(point["delta_rel"]) + rest, "f")


def _same(one: Record, other: Record) -> bool:
    """Whether two faults are of the same thing."""
    return all(one.get(name) == other.get(name) for name in NAMED[:-1])


def _with_given_back(
    session: Session,
    stored: Recall,
    certificate: int,
    faults: Sequence[Record],
    windows: Sequence[Record],
) -> list[Record]:
    """Return the windows, each as long as what earlier looks took for the same and is given back.

    So that a later recall that finds what was taken finds that it was given back, too.
    """
    looks = numbers_of(session, stored)
    before = session.get_one(Certificate, certificate).fault_corrections or ()
    found = []
    for fault, window in zip(faults, windows, strict=True):
        for made in (one for one in before if one["recall"] in looks):
            for other, other_window in zip(made["faults"], made["windows"], strict=True):
                if _same(other, fault):
                    window = _joined(window, other_window)
        found.append(window)
    return found


def _joined(one: Record, other: Record) -> Record:
    """The window from the earlier start to the later end of two."""

    def first(window: Record) -> tuple[bool, int, bool]:
        start = window["start"]
        at = 0 if start is None else instant_us(start, UTC)
        return start is not None, at, not window["start_inclusive"]

    def last(window: Record) -> tuple[bool, int, bool]:
        end = window["end"]
        return end is None, 0 if end is None else instant_us(end, UTC), window["end_inclusive"]

    begins, ends = min(one, other, key=first), max(one, other, key=last)
    return {name: begins[name] for name in ("start", "start_inclusive")} | {
        name: ends[name] for name in ("end", "end_inclusive")
    }


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
