"""The steps of a case in order: what was done, what can be done next, and why something cannot yet.

What is refused is what `api.services.casework.closing` refuses; a page says so before somebody
tries. What it would let pass but a person may have forgotten is said as a reminder.
"""

from __future__ import annotations

from api.pages.words import counted
from api.services.base.record import Record
from api.services.casework.cases import CORRECTIVE, STATES, same_person

MOST_SHOWN = 12
_LACKS = {
    "draft": "To be reissued, and no corrected revision is drafted",
    "issue": "To be reissued, and the corrected revision is a draft yet",
    "void": "To be withdrawn, and not voided",
}
MEANS = {
    "open": "The recall was stored.",
    "assessed": "Its significance was evaluated.",
    "notified": "Every customer concerned was told, or a named reason stands why not.",
    "closed": "Every certificate is disposed of, and the list holds.",
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


def corrective_next(case: Record) -> str:
    """Return the step of corrective action that a person most likely records next."""
    missing = (kind for kind in CORRECTIVE if case["corrective"][kind] is None)
    return next(missing, CORRECTIVE[-1])


def still_to_do(case: Record) -> list[str]:
    """Return in sentences what was decided about certificates and is not done yet."""
    left = case["outstanding"]
    said = []
    for lacks, words in _LACKS.items():
        action = "withdraw" if lacks == "void" else "reissue"
        named = [one for one in left[action]["named"] if one["lacks"] == lacks]
        if not named:
            continue
        shown = [f"{one['certificate']} rev. {one['revision']}" for one in named[:MOST_SHOWN]]
        more = ", ..." if len(named) > MOST_SHOWN else ""
        said.append(f"{words}: {', '.join(shown)}{more}.")
    rest = sum(one["remaining"] - len(one["named"]) for one in left.values())
    if rest:
        said.append(f"{counted(rest, 'further certificate')} remain.")
    return said


def _why_not(case: Record, name: str, coming: bool, later: bool) -> str | None:
    if not (coming or later):
        return None
    against = []
    untold = case["customers"]["missing"]
    if name in ("notified", "closed") and untold:
        were = "was" if untold == 1 else "were"
        against.append(f"{counted(untold, 'customer')} concerned {were} not told")
    lost = case["customers"]["without_customer"]["missing"]
    if name in ("notified", "closed") and lost:
        against.append(f"nobody knows who is to be told of {counted(lost, 'certificate')}")
    if name == "closed":
        if case["stale"] == "checking" and not case["looked_at_again"]:
            against.append("the recall is being compared with later records")
        elif case["stale"] and not case["looked_at_again"]:
            against.append("the recall is stale and wants a second look")
        if missing := case["dispositions"]["missing"]:
            lack = "lacks" if missing == 1 else "lack"
            against.append(f"{counted(missing, 'certificate')} {lack} a disposition")
    if later and not against:
        return f"the case becomes {STATES[STATES.index(name) - 1]} first"
    return "; ".join(against) or None


def _mind(case: Record, name: str) -> str | None:
    if name != "closed":
        return None
    said = still_to_do(case)
    silent = case["notices"]["created"] - case["notices"]["acknowledged"]
    if silent:
        said.append(f"No acknowledgement is recorded of {counted(silent, 'notice')}.")
    if case["corrective"]["cause"] is None:
        said.append("No cause is recorded.")
    elif case["corrective"]["corrective_action"] is None:
        said.append("No corrective action is recorded.")
    review = case["corrective"]["effectiveness_review"]
    if review is not None and not review["effective"]:
        said.append("The latest review found that the corrective action did not help.")
    return " ".join(said) or None
