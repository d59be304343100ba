"""A fault inside an inner assembly does not hide what its other parts carry.

A machine B holds the machine A (share 0.6) and the cell V (0.4); A holds the cell C and an adapter
AD, which is faulty. C was calibrated with AD (K-1), and K-2 used B, at 20 kN. K-2 rests on the
fault in two ways: AD was in A, and C carries what K-1 passed on. Effects are added, each by the
share of A; without V and B, by 1.
"""

from __future__ import annotations

from typing import Any

import pytest
from oracle_cases import OPEN, cal, lab, part, ref, row

Json = dict[str, Any]
KINDS = {
    "A": "force_machine",
    "B": "force_machine",
    "C": "working_standard",
    "V": "working_standard",
    "D": "customer_instrument",
}
FORCE: Json = {"kind": "true_force_relative_error", "delta_rel": "0.001"}


def recalled(client: Any, fault: Json, *, of: str, nested: bool = True) -> Json:
    """The answer to a fault of AD, which is of this kind and measures or does not."""
    measures = of == "working_standard"
    held = [part("A", "C", "0.5" if measures else None), part("A", "AD", *["0.5"][:measures])]
    if nested:
        held += [part("B", "A", "0.6"), part("B", "V", "0.4")]
    role = "force_reference" if measures else "adapter"
    points = [row("10"), row("40", point=2)]
    used = [ref("R"), {"item": "AD", "role": role}]
    laboratory = lab(
        cal("K-1", "C", "03-01", used, points),
        cal("K-2", "D", "04-01", [ref("B" if nested else "A")], [row("20")]),
        kinds=KINDS | {"AD": of},
        types={"C": "tension_link", "D": "load_cell"},
        composition=held,
    )
    made = client.post("/v1/imports", json=laboratory)
    assert made.status_code == 201, made.get_json()
    request = {"fault": {"item": "AD"} | fault | OPEN, "preview": True}
    answer = client.post("/v1/recalls", json=request)
    assert answer.status_code == 200, answer.get_json()
    found: Json = answer.get_json()
    return found


def listed(answer: Json, number: str) -> tuple[str, Json]:
    lists = ("affected", "exposed_zero_effect", "indeterminate", "cannot_be_excluded")
    ((name, entry),) = (
        (name, one) for name in lists for one in answer[name] if one["certificate"] == number
    )
    return name, entry


@pytest.mark.parametrize(
    ("nested", "of", "delta", "paths"),
    [
        # 0.6 x (0.001 of the adapter + 0.001 that C carries)
        (True, "adapter", "0.0012", [["AD", "A", "B", "K-2"], ["AD", "K-1", "C", "A", "B", "K-2"]]),
        (False, "adapter", "0.002", [["AD", "A", "K-2"], ["AD", "K-1", "C", "A", "K-2"]]),
        # A cell in the place of the adapter: 0.6 x (0.5 x 0.001 + 0.5 x 0.001)
        (
            *(True, "working_standard", "0.0006"),
            [["AD", "A", "B", "K-2"], ["AD", "K-1", "C", "A", "B", "K-2"]],
        ),
    ],
)
def test_both_ways_count(client, nested, of, delta, paths):
    name, entry = listed(recalled(client, FORCE, of=of, nested=nested), "K-2")
    assert name == "affected"
    assert [one["delta_rel"] for one in entry["points"]] == [delta]
    assert entry["reason_paths"] == paths


def test_an_adapter_that_does_nothing_to_the_user_may_have_done_so_to_what_it_used(client):
    # The type of D is not concerned, that of C was: K-2 rests on 0.6 x 0.0009 by way of C.
    effect = {"load_cell": "0", "tension_link": "0.0009"}
    fault = {"kind": "indication_effect_by_type", "effect_rel": effect}
    name, entry = listed(recalled(client, fault, of="adapter"), "K-2")
    assert name == "affected"
    assert [one["delta_rel"] for one in entry["points"]] == ["0.00054"]
