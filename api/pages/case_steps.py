"""The steps of a case in order: what was done, what can be done next, and why something cannot yet.

What is refused is what `api.services.casework.cases` refuses; a page says so before somebody tries.
What it would let pass but a person may have forgotten, customers without a notice, is said as a
reminder.
"""

from __future__ import annotations

from api.pages.words import counted
from api.services.base.record import Record
from api.services.casework.cases import STATES, same_person

MEANS = {
    "open": "The recall was stored.",
    "assessed": "Its significance was evaluated.",
    "notified": "The customers concerned were told.",
    "closed": "Nothing is left to be done.",
}


def case_steps(case: Record) -> list[Record]:
    """Return every state of a case with `name`, `means`, `done` (who, when, why), `why_not`.

    `next` marks the step that comes now; `why_not` is None where nothing stands against it, and
    `mind` what to think of first.
    """
    taken = {one["to"]: one for one in case["history"]}
    following = STATES.index(case["state"]) + 1
    steps = []
    for place, name in enumerate(STATES):
        coming = place == following
        steps.append(
            {
                "name": name,
                "means": MEANS[name],
                "reached": place < following,
                "done": taken.get(name),
                "next": coming,
                "why_not": _why_not(case, name, coming, place > following),
                "mind": _mind(case, name) if coming else None,
            }
        )
    return steps


def resumption(case: Record, person: str | None) -> Record:
    """Return whether work may resume: `given`, or `why_not`; `assessed_by` must not give it.

    `person` is who is signed in, if the key or session says so.
    """
    why_not = None
    if case["assessed_by"] is None:
        why_not = "the case has not been assessed yet"
    elif person is not None and same_person(person, case["assessed_by"]):
        why_not = "you assessed the case, and another person has to authorise it"
    return {
        "given": case["resumption"],
        "assessed_by": case["assessed_by"],
        "why_not": None if case["resumption"] else why_not,
    }


def _why_not(case: Record, name: str, coming: bool, later: bool) -> str | None:
    missing = case["dispositions"]["missing"]
    if name == "closed" and missing and (coming or later):
        lack = "lacks" if missing == 1 else "lack"
        return f"{counted(missing, 'certificate')} {lack} a disposition"
    if later:
        return f"the case becomes {STATES[STATES.index(name) - 1]} first"
    return None


def _mind(case: Record, name: str) -> str | None:
    notices = case["notices"]
    if name == "notified" and not notices["created"]:
        return "No notice has been created yet."
    undelivered = notices["created"] - notices["delivered"]
    if name == "notified" and undelivered:
        return f"No delivery is recorded of {counted(undelivered, 'notice')}."
    silent = notices["created"] - notices["acknowledged"]
    if name == "closed" and silent:
        return f"No acknowledgement is recorded of {counted(silent, 'notice')}."
    return None
