"""Would a fresh recall of a stored fault list the certificate? Asked before it is issued.

Only recalls that the certificate may concern are asked. Every path of a recall leads along the
links of uses (``graph.model.Use.links``) from a certificate that used what is faulty or what ever
held it, bears the number or method that a fault names, or names nothing in a role concerned; so one
of those is among the certificates that this one rests on, or may rest on, itself included. For the
roles the windows are those that the recall had when it was last compared; one that waits to be
compared again is asked always.

A recall is asked of the certificate and of what it could rest on alone
(``api.services.recalls.newcomers.Within``). Two things may differ then from a whole recall, since
the range in which the faulty item was ever used is known to it alone: a window that is too wide,
so that what is found is looked at again by a whole recall; and, for a fault stated by force, one
that is too narrow, so that such a recall is whole from the beginning. Both only where the item has
checks that depend on that range.

Of several looks at a fault the latest counts, whether its case is closed or not. A draft is asked
as if it were issued: that is what it is asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import chain

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from api.errors import TraceholdError
from api.services.base.record import Record
from api.services.casework.isolation import Reported
from api.services.grounds.candidates import Candidates
from api.services.grounds.finding import MIND, STOP, Finding
from api.services.grounds.values import Found
from api.services.recalls import reach
from api.services.recalls.giving_back import looks_of, numbers_of
from api.services.recalls.newcomers import WereIssued, Within
from api.services.recalls.reach import NONE, Looks
from api.services.recalls.reading import Traced
from api.services.recalls.run import recall_from
from api.services.recalls.staleness import marked
from api.services.recalls.upward import upward
from api.services.recalls.windows import needs_used_range
from api.store.keyed import rows_of
from api.store.links import RoleSpan, Window
from api.store.reading import SessionReader
from api.store.record_watch import RecallWatch, RecallWatchWindow, RecordChange
from api.store.records import corrections
from api.store.sources import Recorded
from api.store.tables import Recall
from graph.lists import AFFECTED, INDETERMINATE, NOT_EXCLUDED

DRAFT = "draft"
IN_DOUBT, MAYBE = "in_doubt", "may_be_in_doubt"
# What a list says of a certificate that stands in it, and how much that weighs.
WEIGHT = {AFFECTED: STOP, INDETERMINATE: STOP, NOT_EXCLUDED: MIND}
WORDS = {
    AFFECTED: "as affected",
    INDETERMINATE: "as indeterminate",
    NOT_EXCLUDED: "as one that cannot be excluded",
}


def doubt_findings(asked: Candidates) -> Found:
    """Yield, by certificate, the recalls in whose lists it would stand."""
    session, keys = asked.session, sorted(asked.as_of)
    looked_at_again = {one.previous_id for one in asked.recalls}
    stored = {one.id: one for one in asked.recalls if one.id not in looked_at_again}
    if not stored:
        return
    concerned = _concerned(asked, stored)
    if not concerned:
        return
    found = upward(session, keys)
    drafts = frozenset(key for key in keys if asked.traced.rows[key].status == DRAFT)
    within = Within(asked.reader, drafts, frozenset(found.certificates), tuple(found.uses))
    corrected = any(corrections(asked.reader, within.keys))
    for recall in sorted(concerned):
        row = stored[recall]
        for key, name in _listed(session, within, row, keys, corrected=corrected).items():
            if name in WEIGHT:
                yield key, _finding(row.number, row.faults, name)


def _finding(number: str, faults: Sequence[Record], name: str) -> Finding:
    faulty = [fault["item"] for fault in faults if "item" in fault]
    return Finding(
        IN_DOUBT if WEIGHT[name] == STOP else MAYBE,
        WEIGHT[name],
        f"recall {number} would list it {WORDS[name]}",
        "repeat the measurement with what rests on nothing recalled; see "
        f"the paths of a fresh look at recall {number}",
        faulty[0] if len(faulty) == 1 else None,
    )


def _listed(
    session: Session,
    within: Within,
    stored: Reported,
    keys: Sequence[int],
    *,
    corrected: bool,
) -> dict[int, str]:
    """Return the list in which a fresh recall has each of these certificates.

    `corrected` says whether anything was taken from them, or from what they rest on.
    """
    request = {"faults": stored.faults}
    whole = WereIssued(SessionReader(session), within.drafts)
    try:
        looks = _looks(session, stored.id, within.keys) if corrected else NONE
        reported = reach.asked(within, request).reported
        ranged = [one for one in reported if needs_used_range(within, one)]
        # What lies in a window that is too wide is not given back.
        if any(one.fault.sized_by_use or looks.corrected for one in ranged):
            return _lists(whole, request, keys, _looks(session, stored.id) if corrected else NONE)
        found = _lists(within, request, keys, looks)
        if ranged and any(name in WEIGHT for name in found.values()):
            return _lists(whole, request, keys)
    except TraceholdError:
        return {}  # the fault cannot be worked out any more: no fresh recall lists anybody
    return found


def _looks(session: Session, recall: int, among: Collection[int] | None = None) -> Looks:
    return looks_of(session, session.get_one(Recall, recall), among)


def _lists(
    source: Recorded, request: Record, keys: Sequence[int], looks: Looks = NONE
) -> dict[int, str]:
    answer, wanted = recall_from(source, request, 0, looks), frozenset(keys)
    return {
        one.certificate: name
        for name, entries in answer.lists.items()
        for one in entries
        if one.certificate in wanted
    }


def _concerned(asked: Candidates, stored: Mapping[int, Reported]) -> set[int]:
    """Return the recalls that could list one of the certificates in question."""
    ground = _resting_on(asked.traced, asked.as_of.keys())
    rows = [asked.traced.rows[key] for key in ground]
    bears: dict[str, set[str | None]] = {
        "item": _ever_held(asked.traced, ground),
        "certificate": {row.number for row in rows},
        "method": {row.method for row in rows},
    }
    found = {
        key
        for key, row in stored.items()
        if any(
            fault.get(name, "") in borne for fault in row.faults for name, borne in bears.items()
        )
    }
    # What an earlier look took may be given back, whatever the fault is of now.
    took = {one.look for key in ground for one in asked.traced.calibrations[key].taken}
    if took:
        rows_of_looks = (asked.session.get_one(Recall, key) for key in stored)
        found |= {one.id for one in rows_of_looks if took & numbers_of(asked.session, one)}
    columns = ", ".join(
        f"certificate.{name}" for name in ("roles", "performed_us", "performed_end_us")
    )
    also = "WHERE NOT certificate.external"
    spans = [
        RoleSpan._make(row)
        for row in rows_of(asked.reader, columns, "certificate", "id", sorted(ground), also)
    ]
    columns_of = RecallWatchWindow.recall_id, RecallWatchWindow.first_us, RecallWatchWindow.last_us
    for recall, first, last, roles in asked.session.execute(
        select(*columns_of, RecallWatchWindow.roles)
    ):
        window = Window(first, last, tuple(roles))
        if recall in stored and any(window.holds(span) for span in spans):
            found.add(recall)
    return found | (stored.keys() & _waiting(asked))


def _waiting(asked: Candidates) -> set[int]:
    """Return the recalls of which nobody knows yet which windows and roles they have today.

    Those wait to be compared for another write than the last, which recorded the certificates in
    question: what that moves, moves by a use of what is faulty, and is asked for that.
    """
    own = select(RecordChange.id).where(
        RecordChange.id == select(func.max(RecordChange.id)).scalar_subquery(),
        RecordChange.first_certificate <= min(asked.as_of),
        RecordChange.last_certificate >= max(asked.as_of),
    )
    at = RecallWatch.marked_position
    statement = select(RecallWatch.recall_id).where(marked(), or_(at.is_(None), at.not_in(own)))
    return set(asked.session.scalars(statement))


def _resting_on(traced: Traced, keys: Collection[int]) -> set[int]:
    """Read and return these certificates and all that they rest on, or may."""
    found, frontier = set(keys), set(keys)
    while frontier:
        traced.read(frontier)
        uses = chain.from_iterable(traced.calibrations[key].uses for key in frontier)
        frontier = {link for use in uses for link in use.links()} - found
        found |= frontier
    return found


def _ever_held(traced: Traced, keys: Collection[int]) -> set[str | None]:
    """Items that these certificates used, with whatever those ever held."""
    found: set[str | None] = set()
    frontier = {use.item for key in keys for use in traced.calibrations[key].uses}
    while frontier:
        found |= frontier
        held = chain.from_iterable(traced.histories.parts.get(item, ()) for item in frontier)
        frontier = {one.holding.part for one in held} - found
    return found
