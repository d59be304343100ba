"""A check narrows no window if its reference may have rested on what is faulty.

R is faulty from 10 January to 1 December. W is the reference of a capable, passed check of R on
1 June, which would move the start there and clear K-2 of 1 May. DESIGN: not independent is a check
that was made against an item which itself rests on the faulty one; and where the records leave open
which value W carried, it may have.
"""

from __future__ import annotations

from typing import Any

import pytest
from oracle_cases import cal, lab, ref

Json = dict[str, Any]
FAULT: Json = {
    "item": "R",
    "kind": "true_force_relative_error",
    "delta_rel": "0.001",
    "last_good_at": "2025-01-10T00:00:00Z",
    "isolated_at": "2025-12-01T00:00:00Z",
}
BY_R, BY_OTHER = [ref("R")], [ref("R2")]


@pytest.mark.parametrize(
    ("of_w", "mode", "moves"),
    [
        # The value of the other mode only, and that is from R.
        ([("02-01", BY_R, {"mode": "compression"})], "tension", False),
        ([("02-01", BY_R, {"mode": "compression"})], "compression", False),
        # The check does not say in which mode; in one of them W rested on R.
        (
            [("02-01", BY_R, {"mode": "compression"}), ("03-01", BY_OTHER, {"mode": "tension"})],
            *(None, False),
        ),
        # Nobody knows when the certificate from R was voided.
        ([("02-01", BY_R, {"status": "voided", "void_reason": "?"})], None, False),
        (
            [("01-20", BY_OTHER, {}), ("02-01", BY_R, {"status": "voided", "void_reason": "?"})],
            *(None, False),
        ),
        # The value from R had ended when the check was made.
        ([("02-01", BY_R, {}), ("03-01", BY_OTHER, {})], None, True),
        ([("02-01", BY_OTHER, {"mode": "compression"})], "tension", True),
    ],
)
def test_a_doubtful_reference_is_none(client, of_w, mode, moves):
    values = [
        cal(f"K-W{n}", "W", at, uses, **more) for n, (at, uses, more) in enumerate(of_w, start=1)
    ]
    check = {"id": "CH", "item": "R", "at": "2025-06-01T00:00:00Z", "result": "pass"}
    check |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
    check |= {"covers": "full range", "against": "W"} | ({} if mode is None else {"mode": mode})
    records = lab(*values, cal("K-2", "D", "05-01", BY_R), checks=[check])
    made = client.post("/v1/imports", json=records)
    assert made.status_code == 201, made.get_json()
    answer = client.post("/v1/recalls", json={"fault": FAULT, "preview": True}).get_json()
    (weighed,) = answer["window"]["checks"]
    assert weighed["moves_start"] is moves, weighed
    affected = {one["certificate"] for one in answer["affected"]}
    assert ("K-2" in affected) is not moves
