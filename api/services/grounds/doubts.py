"""Would a fresh recall of a stored fault list the certificate? Asked before it is issued.

Only recalls that the certificate may concern are asked: by what each watches, as every write does;
and those that wait to be compared, if they watch anything that it could rest on, or if that was
written since. A recall is asked of the certificate and of what it could rest on alone
(``api.services.recalls.newcomers.Within``). Two things may differ then from a whole recall, since
the range in which the faulty item was ever used is known to it alone: a window that is too wide,
so that what is found is looked at again by a whole recall; and, for a fault stated by force, one
that is too narrow, so that such a recall is whole from the beginning. Both only where the item has
checks that depend on that range.

Of several looks at a fault the latest counts, whether its case is closed or not.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, aliased

from api.errors import TraceholdError
from api.services.base.record import Record
from api.services.grounds.candidates import Candidates
from api.services.grounds.finding import MIND, STOP, Finding
from api.services.grounds.values import Found
from api.services.recalls import reach
from api.services.recalls.newcomers import Within
from api.services.recalls.run import recall_from
from api.services.recalls.staleness import marked
from api.services.recalls.upward import Upward, upward
from api.services.recalls.watched import holders_of
from api.services.recalls.windows import needs_used_range
from api.store.keyed import rows_of
from api.store.reading import SessionReader
from api.store.record_touch import Written, touch_of, watching, written_since
from api.store.record_watch import RecallWatch
from api.store.sources import Recorded
from api.store.tables import Recall
from graph.recall import AFFECTED, INDETERMINATE, NOT_EXCLUDED, TRACED

Later = aliased(Recall)
IN_DOUBT, MAYBE = "in_doubt", "may_be_in_doubt"
# What a list says of a certificate that stands in it, and how much that weighs.
WEIGHT = {AFFECTED: STOP, INDETERMINATE: STOP, NOT_EXCLUDED: MIND, TRACED: MIND}
WORDS = {
    AFFECTED: "as affected",
    INDETERMINATE: "as indeterminate",
    NOT_EXCLUDED: "as one that cannot be excluded",
    TRACED: "were it issued",
}


def doubt_findings(asked: Candidates) -> Found:
    """Yield, by certificate, the recalls in whose lists it would stand."""
    session, keys = asked.session, sorted(asked.as_of)
    latest = ~exists().where(Later.previous_id == Recall.id)
    stored = {
        row.id: row
        for row in session.execute(
            select(Recall.id, Recall.number, Recall.faults).where(latest).order_by(Recall.id)
        )
    }
    if not stored:
        return
    touch = touch_of(session, keys)
    concerned = watching(session, touch) & stored.keys()
    waiting = {
        row.recall_id: row.checked_position
        for row in session.execute(
            select(RecallWatch.recall_id, RecallWatch.checked_position).where(marked())
        )
        if row.recall_id in stored and row.recall_id not in concerned
    }
    if not concerned and not waiting:
        return
    found = upward(session, keys)
    concerned |= _also(session, found, waiting)
    within = Within(SessionReader(session), frozenset(found.certificates), tuple(found.uses))
    for recall in sorted(concerned):
        row = stored[recall]
        for key, name in _listed(session, within, row.faults, keys).items():
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
    session: Session, within: Within, faults: Sequence[Record], keys: Sequence[int]
) -> dict[int, str]:
    """Return the list in which a fresh recall has each of these certificates."""
    request = {"faults": faults}
    try:
        reported = reach.asked(within, request).reported
        ranged = [one for one in reported if needs_used_range(within, one)]
        if any(one.fault.by_force for one in ranged):
            return _lists(Recorded(within.reader), request, keys)
        found = _lists(within, request, keys)
        if ranged and any(name in WEIGHT for name in found.values()):
            return _lists(Recorded(within.reader), request, keys)
    except TraceholdError:
        return {}  # the fault cannot be worked out any more: no fresh recall lists anybody
    return found


def _lists(source: Recorded, request: Record, keys: Sequence[int]) -> dict[int, str]:
    answer, wanted = recall_from(source, request, 0), frozenset(keys)
    return {
        one.certificate: name
        for name, entries in answer.lists.items()
        for one in entries
        if one.certificate in wanted
    }


def _also(session: Session, found: Upward, waiting: Mapping[int, int]) -> set[int]:
    """Return waiting recalls that watch, or may yet watch, something that was found upward."""
    if not waiting:
        return set()
    items = {item for item, _ in found.certificates.values()} | found.parts.keys()
    items |= {part for some in found.parts.values() for part in some}
    columns = "DISTINCT recall_watch_item.recall_id"
    rows = rows_of(SessionReader(session), columns, "recall_watch_item", "item_id", list(items))
    concerned = {key for (key,) in rows if key in waiting}
    for position in set(waiting.values()):
        written = written_since(session, position)
        moved = written.named | holders_of(session, written.named)
        if _among(found.certificates, written) or not items.isdisjoint(moved):
            concerned |= {key for key, read_at in waiting.items() if read_at == position}
    return concerned


def _among(certificates: Collection[int], written: Written) -> bool:
    return written.everything or any(
        first <= key <= last for key in certificates for first, last in written.ranges
    )
