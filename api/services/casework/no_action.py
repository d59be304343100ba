"""May nothing be done where a result becomes fail or loses its statement? Only for a told reason.

Such an item may be holding a load, and somebody may rely on a statement that is made no more. The
laboratory may see no need for a step of its own, but the customer must read why, in words that were
written for the customer: a justification stays in the house, since it may speak of somebody else
(ISO/IEC 17025:2017, 4.2, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import orjson
from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.rules.rule import NO_STATEMENT
from api.rules.verdicts import FAILING
from api.services.base.record import Record
from api.services.casework.told import MOST_NAMED, NOTHING
from api.store.chunks import chunks
from api.store.tables import RecallEntry
from graph.lists import AFFECTED, INDETERMINATE

_FAIL = "its verdict becomes or could become fail"
_UNSTATED = "its rule makes no statement any more where one was made"


def becomes_fail(entry: Record) -> bool:
    """Whether a verdict of an entry becomes a fail, or could become one where it is not settled."""
    return any(_fails(point) for point in entry.get("points", ()))


def loses_statement(entry: Record) -> bool:
    """Whether a verdict of an entry becomes none, because the rule makes no statement any more."""
    return any(
        point["verdict_after"] == NO_STATEMENT
        and point["verdict_before"] not in (None, NO_STATEMENT)
        for point in entry.get("points", ())
    )


def _fails(point: Record) -> bool:
    after = point["verdict_after"]
    possible = (point.get("verdicts_possible") or ()) if after is None else (after,)
    return any(one in FAILING and one != point["verdict_before"] for one in possible)


def refuse_unexplained(
    session: Session, recall_id: int, meant: Sequence[Row[*tuple[Any, ...]]], command: Record
) -> None:
    """Refuse no action without a reason for the customer where a statement does not hold any more.

    Raises
    ------
    InvalidRecord
        Naming each such certificate.
    """
    if command["action"] != NOTHING or "reason_for_customer" in command:
        return
    keys = [row.certificate_id for row in meant if row.list_name in (AFFECTED, INDETERMINATE)]
    failing = []
    for some in chunks(keys):
        bodies = session.scalars(
            select(RecallEntry.body)
            .where(RecallEntry.recall_id == recall_id, RecallEntry.certificate_id.in_(some))
            .order_by(RecallEntry.list_name, RecallEntry.position)
        )
        failing += [
            (entry, _FAIL if failing_now else _UNSTATED)
            for entry in map(orjson.loads, bodies)
            if (failing_now := becomes_fail(entry)) or loses_statement(entry)
        ]
    if failing:
        issues = [
            Issue(
                "/reason_for_customer",
                why,
                "say for the customer, who reads it in the notice, why you take no action; or "
                "choose another action",
                f"{entry['certificate']} rev. {entry['revision']}",
            )
            for entry, why in failing[:MOST_NAMED]
        ]
        told = f"no action for {len(failing)} certificate(s) whose statement changes needs a reason"
        raise InvalidRecord(f"{told} that the customer is told; nothing stored", issues)
