"""Tables of a recall on the terminal: what a line says of verdicts."""

from __future__ import annotations

import io

from rich.console import Console

from api.commands.recall_view import entry_table

POINT = {
    "point": 1,
    "stage": "single",
    "unit": "kN",
    "shift": "-0.005",
    "verdict_before": "pass",
    "verdict_after": "fail",
    "changed": True,
}
ENTRY = {
    "certificate": "C-1",
    "revision": 0,
    "item": "A",
    "generation": 1,
    "reason_paths": [["REF", "C-1"]],
    "path_count": 1,
    "points": [POINT],
    "overall": {"single": {"before": "pass", "after": "fail"}},
    "verdict_changes": True,
    "max_shift_over_U": "2.5",
}


def shown(entry):
    console = Console(file=io.StringIO(), width=200)
    console.print(entry_table([entry], "affected"))
    return console.file.getvalue()


def test_a_change_that_is_not_the_fault_s_alone_is_told():
    assert "contradicted" not in shown(ENTRY)
    told = shown(ENTRY | {"points": [POINT | {"decided_before": "fail"}]})
    assert "contradicted its rule before at 1 point(s)" in told
    assert "pass -> fail" in told
