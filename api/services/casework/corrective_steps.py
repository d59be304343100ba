"""Why did it happen, what is done so that it does not happen again, and did it help: in steps.

Three steps, each with who, when and in which words: the cause; the corrective action (or why none
is needed); the review of its effectiveness (ISO/IEC 17025:2017, 8.7.1 and 8.7.3, from memory). Each
can be taken again, since a review may find that an action did not help, and after the case is
closed too, since that is often known only months later. Nothing is overwritten.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.errors import Conflict, Issue
from api.services.base.record import Record
from api.services.casework.cases import latest_step, record_event
from api.services.feed import changes
from api.store.casework import RecallCase

# What each step speaks of, which must stand first.
OF = {"corrective_action": "cause", "effectiveness_review": "corrective_action"}


def record(session: Session, case: RecallCase, step: Record, now_us: int) -> RecallCase:
    """Record one step of the corrective action.

    Raises
    ------
    Conflict
        If what the step speaks of is not recorded yet.
    """
    first = OF.get(step["step"])
    if first is not None and latest_step(session, case.recall_id, first) is None:
        named = first.replace("_", " ")
        issue = Issue("/step", f"no {named} is recorded yet", f"record the {named}", step["step"])
        raise Conflict(f"{step['step']} speaks of a {named}, and none is recorded", [issue])
    change = {"by": step["by"], "reason": step["text"]}
    record_event(session, case, step["step"], change, now_us, effective=step.get("effective"))
    changes.note(session, "case.changed", now_us, recall_id=case.recall_id, detail=step["step"])
    return case
