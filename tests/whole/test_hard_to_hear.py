"""Writes from which a stored recall is not seen to follow: each must be heard of all the same.

Every case has a laboratory in which the stored recall names none of what is written, and the list
in which a certificate stands afterwards, by DESIGN's own words in a comment where it is not plain.
Until the recall was compared it says "checking", and who is newly reached is under review.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from oracle_cases import answered, cal, force_fault, lab, part, ref, row

Json = dict[str, Any]
SAID = {"by": "M. Tarn", "reason": "the sheet says otherwise"}
WINDOW = {"last_good_at": "2025-01-05T00:00:00Z", "isolated_at": "2025-03-31T00:00:00Z"}
REF = force_fault("REF") | WINDOW


def outside(number: str, item: str, at: str = "2024-06-01T00:00:00Z") -> Json:
    """A certificate of another laboratory: it needs no reference of ours."""
    return cal(number, item, at, [], external=True, issuer="Institute of Force")


class Told:
    """A laboratory with one stored recall."""

    def __init__(self, client: Any, laboratory: Json, fault: Json) -> None:
        self.client = client
        self.post("/v1/imports", laboratory)
        self.key = self.post("/v1/recalls", {"fault": fault})["id"]
        assert self.shown()["stale"] is False

    def post(self, path: str, body: Json) -> Json:
        answer = self.client.post(path, json=body)
        assert answer.status_code in (200, 201), answer.get_json()
        found: Json = answer.get_json()
        return found

    def shown(self) -> Json:
        found: Json = self.client.get(f"/v1/recalls/{self.key}").get_json()
        return found

    def state(self, number: str) -> str:
        return str(self.client.get(f"/v1/certificates/{number}").get_json()["recall_state"])

    def listed(self) -> dict[str, str]:
        """In which list of a fresh recall each certificate stands."""
        request = {"faults": self.shown()["faults"], "preview": True}
        fresh = self.post("/v1/recalls", request)
        lists = ("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled")
        return {
            one["certificate"]: name
            for name in (*lists, "cannot_be_excluded")
            for one in fresh[name]
        }


def worn_pin() -> tuple[Json, Json]:
    fault = {"item": "PIN", "kind": "unknown", "last_good_at": "2025-01-20T00:00:00Z"}
    laboratory = lab(
        outside("E-1", "GOLD"),
        kinds={"ADP": "adapter", "PIN": "adapter_part", "X": "customer_instrument"},
        composition=[part("ADP", "PIN")],
    )
    return laboratory, fault | {"isolated_at": "2025-01-22T00:00:00Z"}


def late_user_of_an_assembly(told: Told) -> None:
    uses = [ref("GOLD"), {"item": "ADP", "role": "adapter"}]
    told.post("/v1/calibrations", answered(cal("C-1", "X", "01-21", uses)))


def build_up() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "CELL-1", "01-10", [ref("REF")]),
        outside("E-2", "CELL-2"),
        cal("C-1", "A", "02-10", [ref("RIG")]),
        composition=[part("RIG", "CELL-1"), part("RIG", "CELL-2")],
    ), REF


def void_of_the_other_part(told: Told) -> None:
    # Shares are not given: they are equal only if each part has a value in force.
    body = {"reason": "wrong item", "voided_at": "2025-02-01T00:00:00Z"}
    told.post("/v1/certificates/E-2/void?issuer=Institute of Force", body)


def check_that_is_not_independent() -> tuple[Json, Json]:
    # The gauge had its value from K-2, which rests on GOLD, when the check was made. Without K-2 it
    # had that of K-1, which rests on WS-3 and so on the reference.
    check = {"id": "CH", "item": "REF", "at": "2025-02-01T00:00:00Z", "result": "pass"}
    check |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
    check |= {"covers": "full range", "against": "GAUGE"}
    return lab(
        outside("E-1", "GOLD"),
        cal("W-3", "WS-3", "2024-01-10T00:00:00Z", [ref("REF")]),
        cal("K-1", "GAUGE", "2024-02-10T00:00:00Z", [ref("WS-3")]),
        cal("K-2", "GAUGE", "2024-03-10T00:00:00Z", [ref("GOLD")]),
        cal("C-1", "A", "01-10", [ref("REF")]),
        checks=[check],
    ), REF


def void_of_what_made_it_independent(told: Told) -> None:
    body = {"reason": "wrong item", "voided_at": "2024-04-01T00:00:00Z"}
    told.post("/v1/certificates/K-2/void", body)


def nothing_yet() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "WS", "01-10", [ref("REF")]),
        outside("E-1", "GOLD"),
        kinds={"X": "customer_instrument"},
    ), REF


def record_without_reference(told: Told) -> None:
    told.post("/v1/calibrations", answered(cal("C-1", "X", "02-01", [])))


def method() -> tuple[Json, Json]:
    laboratory = lab(outside("E-1", "GOLD"), kinds={"X": "customer_instrument"})
    return laboratory, {"method": "M-1", "kind": "unknown"} | WINDOW


def user_of_the_method(told: Told) -> None:
    told.post("/v1/calibrations", answered(cal("C-1", "X", "02-01", [ref("GOLD")], method="M-1")))


def two_alike() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "WS-A", "01-10", [ref("REF")]),
        outside("E-1", "WS-B"),
        cal("C-1", "X", "02-10", [ref("WS-B")]),
    ), REF


def taken_for_each_other(told: Told) -> None:
    body = {"items": ["WS-A", "WS-B"], "from": "2025-02-01T00:00:00Z"}
    told.post("/v1/identity-swaps", body | SAID)


def wrong_cell() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "CELL-1", "01-10", [ref("REF")]),
        outside("E-2", "CELL-2"),
        cal("C-1", "X", "02-10", [ref("RIG")]),
        composition=[part("RIG", "CELL-2")],
    ), REF


def the_other_cell_was_in_it(told: Told) -> None:
    (holding,) = told.client.get("/v1/compositions?part=CELL-2").get_json()["items"]
    told.post(f"/v1/compositions/{holding['id']}/corrections", {"part": "CELL-1"} | SAID)


def checked() -> tuple[Json, Json]:
    check = {"id": "CH", "item": "REF", "at": "2025-02-01T00:00:00Z", "result": "pass"}
    check |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
    laboratory = lab(
        cal("C-1", "A", "01-10", [ref("REF")]),
        checks=[check | {"covers": "full range"}],
    )
    return laboratory, REF


def the_check_was_none(told: Told) -> None:
    told.post("/v1/checks/CH/corrections", {"withdrawn": True} | SAID)


def checked_within_the_used_range() -> tuple[Json, Json]:
    # 20 kN lies between the forces at which the reference was used: the window starts with it.
    laboratory, fault = checked()
    laboratory["checks"][0] |= {"covers": ["20 kN"]}
    laboratory["items"] += lab(cal("N-1", "X", "03-01", [ref("GOLD")]))["items"]
    laboratory["calibrations"].append(cal("N-1", "X", "03-01", [ref("REF")], [row("30")]))
    return laboratory, fault


def the_user_at_the_larger_force_used_another(told: Told) -> None:
    told.post("/v1/certificates/N-1/uses/0/corrections", {"use": ref("GOLD")} | SAID)


def part_without_certificate() -> tuple[Json, Json]:
    return lab(
        cal("C-1", "X", "02-10", [ref("RIG")]),
        kinds={"REF": "reference_standard", "CELL": "working_standard"},
        composition=[part("RIG", "CELL")],
    ), REF


def late_certificate_of_the_part(told: Told) -> None:
    told.post("/v1/calibrations", answered(cal("W-1", "CELL", "01-10", [ref("REF")])))


def of_both_modes() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "WS", "01-10", [ref("REF")], mode="compression"),
        cal("W-2", "WS", "01-11", [ref("GOLD")], mode="tension"),
        outside("E-1", "GOLD"),
        cal("C-1", "X", "02-10", [ref("WS")], mode="tension"),
    ), REF


def a_revision_leaves_the_mode_out(told: Told) -> None:
    # Without a mode of its own it rests on the latest of all, and that of the other mode is listed.
    made = cal("C-1", "X", "02-10", [ref("WS")], revision=1, amendment="the mode is not known")
    told.post("/v1/certificates/C-1/revisions", answered(made))


def narrow_range() -> tuple[Json, Json]:
    return lab(
        cal("W-1", "WS", "01-10", [ref("REF")]),
        outside("E-1", "GOLD"),
        cal("W-2", "WS", "01-20", [ref("GOLD")], [row("4")], status="draft"),
        cal("C-1", "X", "02-10", [ref("WS")]),
    ), REF


def the_later_range_is_issued(told: Told) -> None:
    # 10 kN lies outside the range of W-2 and inside that of W-1: affected until now, not excluded
    # afterwards.
    told.post("/v1/certificates/W-2/issue", answered({"issued_at": "2025-01-21T00:00:00Z"}))


def revision_of_another_item(**more: Any) -> Json:
    return cal("W-1", "WS-2", "01-10", [ref("GOLD")], revision=1, amendment="serial", **more)


def superseded() -> tuple[Json, Json]:
    first = cal("W-1", "WS", "01-10", [ref("REF")], status="superseded", superseded_by="1")
    return lab(
        first,
        outside("E-1", "GOLD"),
        cal("C-1", "X", "02-10", [ref("WS")]),
        kinds={"WS-2": "working_standard"},
    ), REF


def the_later_revision_comes_in(told: Told) -> None:
    # Nobody knew how long the first one served: now it did until the second was issued.
    told.post(
        "/v1/imports",
        {"calibrations": [revision_of_another_item(issued_at="2025-02-15T00:00:00Z")]},
    )


def superseded_by_a_draft() -> tuple[Json, Json]:
    laboratory, fault = superseded()
    laboratory["calibrations"].append(revision_of_another_item(status="draft"))
    return laboratory, fault


def the_draft_is_issued(told: Told) -> None:
    issued = {"issued_at": "2025-02-15T00:00:00Z"}
    told.post("/v1/certificates/W-1/issue?revision=1", answered(issued))


@pytest.mark.parametrize(
    ("made", "write", "list_name"),
    [
        (worn_pin, late_user_of_an_assembly, "indeterminate"),
        (build_up, void_of_the_other_part, "indeterminate"),
        (check_that_is_not_independent, void_of_what_made_it_independent, "affected"),
        (nothing_yet, record_without_reference, "cannot_be_excluded"),
        (method, user_of_the_method, "indeterminate"),
        (two_alike, taken_for_each_other, "affected"),
        (wrong_cell, the_other_cell_was_in_it, "affected"),
        (checked, the_check_was_none, "affected"),
        (checked_within_the_used_range, the_user_at_the_larger_force_used_another, "affected"),
        (part_without_certificate, late_certificate_of_the_part, "affected"),
        (of_both_modes, a_revision_leaves_the_mode_out, "cannot_be_excluded"),
        (narrow_range, the_later_range_is_issued, "cannot_be_excluded"),
        (superseded, the_later_revision_comes_in, "affected"),
        (superseded_by_a_draft, the_draft_is_issued, "affected"),
    ],
)
def test_a_write_that_the_recall_does_not_name_is_heard(
    client: Any,
    recheck: Callable[[], Any],
    made: Callable[[], tuple[Json, Json]],
    write: Callable[[Told], None],
    list_name: str,
) -> None:
    told = Told(client, *made())
    write(told)
    assert told.listed()["C-1"] == list_name
    assert told.shown()["stale"] == "checking"
    assert told.state("C-1") != "none"
    recheck()
    assert told.shown()["stale"] is True
    assert told.state("C-1") != "none"
