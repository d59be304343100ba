"""What is left of a fault on a revision that took its correction in already?

DESIGN section 11: a later recall of the same item, channel or certificate whose window overlaps, of
whatever kind, subtracts what was taken from its own delta at each point. Sums by hand.
"""

from __future__ import annotations

from typing import Any

import pytest
from oracle_cases import OPEN, Json, cal, force_fault, lab, numbers, only, ref, row
from recall_oracle import recall

FAULT = {"item": "REF"}
WINDOW = {"start": OPEN["last_good_at"], "end": OPEN["isolated_at"]}


def taken(fault: Json = FAULT, window: Json = WINDOW) -> Json:
    """What was taken at point 1 for a fault in a window."""
    points = [{"point": 1, "stage": "single", "delta_rel": "0.0005"}]
    return {"faults": [fault], "windows": [window], "points": points}


TAKEN = taken()


def made(*taken: Json, results: Any = None) -> Json:
    """A standard calibrated by REF, its revision corrected, and one who used it after that."""
    first = cal("W-1", "WS", "02-01", [ref("REF")], results, status="superseded")
    second = first | {"revision": 1, "status": "issued", "issued_at": "2025-03-01T00:00:00Z"}
    user = cal("C-1", "CI", "04-01", [ref("WS")])
    return lab(first, second | {"corrections": list(taken)}, user)


def test_what_was_taken_whole_is_cleared_and_passed_on_no_more() -> None:
    answer = recall(made(TAKEN), force_fault())
    assert numbers(answer, "traced_not_recalled") == ["W-1"]
    assert [(e["certificate"], e["revision"], e["reason"]) for e in answer["cleared"]] == [
        ("W-1", 1, "corrected")
    ]
    assert numbers(answer, "affected") == []


def test_another_estimate_leaves_the_difference_and_passes_it_on() -> None:
    # 0.0008 - 0.0005 = 0.0003; at 10 kN the shift is -0.003
    answer = recall(made(TAKEN), force_fault(delta="0.0008"))
    assert numbers(answer, "affected") == ["W-1", "C-1"]
    assert only(answer, "C-1", "delta_rel", "shift") == ("0.0003", "-0.003")


def test_a_fault_by_force_leaves_the_difference_of_forces() -> None:
    # 8 N of 10 kN are 0.0008; 0.0003 x 10 kN = 3 N are left, 0.0003 at 10 kN again
    offset = {"kind": "true_force_offset", "delta_force": "8", "unit": "N", "item": "REF"} | OPEN
    assert only(recall(made(TAKEN), offset), "C-1", "delta_rel") == ("0.0003",)


@pytest.mark.parametrize(
    "other",
    [
        taken({"item": "WS"}),
        taken(FAULT | {"channel": "A"}),
        taken(window={"start": "2024-06-01T00:00:00Z", "end": OPEN["last_good_at"]}),
    ],
)
def test_another_item_channel_or_window_takes_nothing(other: Json) -> None:
    answer = recall(made(other), force_fault())
    assert only(answer, "C-1", "delta_rel") == ("0.0005",)


def test_an_unknown_fault_stays_unknown_and_a_point_not_taken_stays() -> None:
    unknown = {"item": "REF", "kind": "unknown"} | OPEN
    assert numbers(recall(made(TAKEN), unknown), "indeterminate") == ["W-1", "C-1"]
    answer = recall(made(TAKEN, results=[row("10"), row("20", point=2)]), force_fault())
    assert [point["delta_rel"] for point in find_last(answer)["points"]] == ["0", "0.0005"]
    # C-1 is at 10 kN, where nothing is left.
    assert numbers(answer, "exposed_zero_effect") == ["C-1"]


def find_last(answer: Json) -> Json:
    """The affected entry of revision 1."""
    entry: Json = next(e for e in answer["affected"] if e["revision"] == 1)
    return entry
