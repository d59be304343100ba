"""One line of a recall as JSON: the certificate, how it is reached or why it is not, its points.

What happens at the points is told in `api.services.recalls.moved_points`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from api.services.base.record import Record
from api.services.recalls.moved_points import MovedPoints
from api.services.recalls.not_excluded import detail as why_not_excluded
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Statement
from graph.lists import CLEARED, NOT_EXCLUDED, TRACED, Judgement
from graph.model import Calibration
from graph.suspects import SuspectWindow

TRACED_REASONS = {
    "draft": "a draft was never issued",
    "superseded": "a later revision took its place",
    "voided": "it was voided",
}
CLEARED_REASONS = {
    "status": "not issued, and nothing faulty reached it",
    "corrected": "what the fault does was taken from its errors when this revision was made",
    "channel": "another channel was used",
    "part": "the part was not in the assembly at the time",
    "record": "the record shows that the right factor was applied",
    "window": "used outside the window",
    "range": "no point lies in a faulty range",
    "mode": "calibrated in another mode than that to which the fault is limited",
    "role": "used in another role than those to which the fault is limited",
    "direction": "no point of a direction to which the fault is limited",
}


INDETERMINATE_REASONS = {
    "shares": "which share of the force each part carried is not recorded, or does not add up",
    "part": "what a part of the assembly does that was calibrated with it is not known",
}
GIVEN_BACK = (
    "an earlier look at the fault took from its errors, or from those of what it rests on, what "
    "this look does not find: it is given back"
)
CANCELS = "paths of one fault cancel each other, if they are fully correlated as is assumed"


def is_given_back(entry: Record) -> bool:
    """Whether an entry says that a correction made before is withdrawn."""
    return entry.get("detail") == GIVEN_BACK


class Entries:
    """Writes the entries of one recall."""

    def __init__(
        self,
        cases: Sequence[SuspectWindow],
        traced: Traced,
        gaps: Sequence[Mapping[int, Sequence[str]]],
    ) -> None:
        self._points = MovedPoints(cases)
        self._gaps = gaps
        self._traced = traced

    def entry(self, finding: Judgement, statements: Sequence[Statement]) -> Record:
        """Return the entry of one finding; `statements` are those of its points, in their order."""
        made = _head(finding, self._traced)
        if finding.list_name == CLEARED:
            detail = CLEARED_REASONS[finding.reason or ""]
            return made | {"reason": finding.reason, "detail": detail}
        if finding.list_name == TRACED:
            detail = _why_traced(finding, self._traced)
            return made | {"reason": finding.reason, "detail": detail}
        if finding.list_name == NOT_EXCLUDED:
            key = finding.calibration.key
            roles = sorted({role for gap in self._gaps for role in gap.get(key, ())})
            return made | {
                "reasons": finding.doubts,
                "detail": why_not_excluded(finding.doubts, roles),
            }
        if finding.doubts:
            made["doubts"] = finding.doubts
        if finding.reason is not None:
            made["detail"] = INDETERMINATE_REASONS[finding.reason]
        if finding.reason == "shares":  # a record that can be completed: the reader is told which
            made["reason"] = finding.reason
        if finding.given_back:
            made["detail"] = GIVEN_BACK
        if finding.cancels:
            made["detail"] = CANCELS
        return made | self._points.told(finding, statements)


def _head(finding: Judgement, traced: Traced) -> Record:
    calibration = finding.calibration
    customer = traced.customer(calibration.key)
    made: Record = {
        "certificate": calibration.number,
        "revision": calibration.revision,
        "item": calibration.item,
        "class": finding.list_name,
    }
    if customer is not None:
        made["customer"] = customer
    if calibration.external:
        made |= {"external": True, "issuer": traced.rows[calibration.key].issuer or None}
    if _date_only(calibration):
        made["date_only"] = True
    if finding.list_name == NOT_EXCLUDED:
        why = finding.why
        paths, count = ((), 0) if why is None else (why.paths, why.count)
        made |= {"reason_paths": paths, "path_count": count}
    elif finding.why is not None:
        made |= {
            "generation": finding.why.generation,
            "reason_paths": finding.why.paths,
            "path_count": finding.why.count,
        }
    return made


def _date_only(calibration: Calibration) -> bool:
    performed = calibration.performed
    if performed.date_only:
        return True
    # Most uses share the moment; a generator for each certificate would take longer than all else.
    others = [use.at for use in calibration.uses if use.at is not performed]
    return bool(others) and any(at.date_only for at in others)


def _why_traced(finding: Judgement, traced: Traced) -> str:
    row = traced.rows[finding.calibration.key]
    detail = TRACED_REASONS[finding.reason or ""]
    if row.superseded_by is not None:
        detail += f" ({row.superseded_by})"
    if row.void_reason is not None:
        detail += f": {row.void_reason}"
    return detail
