"""What was used and failed a check, with nothing good between that and the use.

A failure is a failed check or inspection, or a result as found that the rule of its certificate
fails, on condition too; a single result, where none stands as found, was found so and left so. What
fails is decided for alerts and here by one function (`api.services.recalls.soundness.said`). Good
evidence is a passed check or inspection, or an issued calibration whose results as left (or single)
do not fail. It must lie between the failure and the use; of two at one instant the failure comes
first. A bare date counts from the start of its day for a check and a calibration; a use on a bare
date spans its day.

Choice: a failure after the use counts too, since nobody knows when it began. It is left out where
it came later than the certificate is asked about.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from api.services.grounds.candidates import ISSUED, Candidates
from api.services.grounds.finding import STOP, Finding
from api.services.grounds.values import Found
from api.services.recalls.soundness import said
from api.store.keyed import rows_of
from graph.moments import Moment, text_of

FAIL = "fail"


class Event(NamedTuple):
    """One piece of evidence about an item; `failed` in the words of a finding, None if it is good.

    Sorted by time, failures first.
    """

    at_us: int
    good: bool
    what: str


def failure_findings(asked: Candidates) -> Found:
    """Yield failures of items that were used, and of parts that they held, by certificate."""
    histories = _histories(asked)
    if not histories:
        return
    seen: set[tuple[int, str]] = set()
    for one in asked.uses:
        key = one.certificate.key
        for item in (one.use.item, *(held.part for held in one.use.held)):
            if item not in histories or (key, item) in seen:
                continue
            failure = speaking_against(histories[item], one.use.at, asked.as_of[key])
            if failure is not None:
                seen.add((key, item))
                yield key, _finding(item, failure, one.use.at)


def speaking_against(history: list[Event], at: Moment, until_us: int) -> Event | None:
    """Return the failure that no good evidence parts from a use, None if there is none.

    `history` is in order of time, failures first; later than `until_us` nothing is known.
    """
    known = [one for one in history if one.at_us <= until_us]
    last = None
    for one in known:
        if one.at_us <= at.end_us:
            last = None if one.good else one
    if last is not None:
        return last
    for one in known:
        if one.at_us >= at.start_us:
            if one.good:
                return None
            if one.at_us > at.end_us:
                return one
    return None


def _finding(item: str, failure: Event, at: Moment) -> Finding:
    when = "before" if failure.at_us <= at.end_us else "after"
    return Finding(
        "failed_check",
        STOP,
        f"{item} failed {failure.what} ({text_of(failure.at_us)}), {when} it was used "
        f"({text_of(at.start_us)}), and nothing good is recorded between the two",
        f"repair or replace {item}, record a passed check or a calibration before it is used "
        "again, and repeat the measurement",
        item,
    )


def _histories(asked: Candidates) -> dict[str, list[Event]]:
    """Evidence about the items that ever failed, in order of time."""
    found = _checks(asked)
    issued = {
        one.key: item
        for item, some in asked.standings.items()
        for one in some
        if one.status == ISSUED
    }
    for key, (one, statements) in asked.results_of(issued).items():
        for good in said(list(zip(one.points, statements, strict=True))):
            what = f"{'' if good else 'as found in '}certificate {one.number}"
            found[issued[key]].append(Event(one.performed.start_us, good, what))
    return {item: sorted(some) for item, some in found.items() if any(not one.good for one in some)}


def _checks(asked: Candidates) -> dict[str, list[Event]]:
    codes = {one.key: one.code for one in asked.pieces.values()}
    table, found = "intermediate_check", defaultdict[str, list[Event]](list)
    columns = ", ".join(
        f"{table}.{one}" for one in ("item_id", "performed_us", "result", "kind", "code")
    )
    also = f"WHERE NOT {table}.withdrawn"
    for item, at_us, result, kind, code in rows_of(
        asked.reader, columns, table, "item_id", list(codes), also
    ):
        found[codes[item]].append(Event(at_us, result != FAIL, f"{kind or 'check'} {code}"))
    return found
