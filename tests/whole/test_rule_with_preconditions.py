"""A rule with preconditions over HTTP: agreed, decided by, and left by a recall.

Invented. Simple acceptance while TUR is 4 or more; else w = U while U is at most half of T; else no
statement. Tolerance 0.1 kN either way, so that TUR = 0.2 / (2 U) and T = 0.1 at k = 2:

  point  applied  error   U      TUR    U/T    before                after the recall
  1      50       0.090   0.020  5      0.2    1: pass               U 0.023324, TUR 4.29: pass
  2      100      0.090   0.025  4      0.25   1: pass, on the limit U 0.034655, TUR 2.89: fail
  3      200      0.070   0.026  3.85   0.26   2: pass, 0.1 - 0.026  U 0.054589, U/T 0.55: nothing
  4      200      0.010   0.060  1.67   0.6    3: nothing            as before

The recall: the reference was known to 0.026 % and not to 0.010 %, so 4 u2 = 2.6e-4^2 - 1e-4^2 =
5.76e-8, and U after = sqrt(U^2 + (applied x 2.4e-4)^2): 0.012, 0.024 and 0.048 kN are added in
squares. Point 2: 0.000625 + 0.000576 = 0.001201, root 0.034655; accepted up to 0.065, error 0.090.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.api.pages.conftest import Visitor

Json = Any
CUSTOMER = "Corvane Offshore"
STEPS = {
    "id": "steps",
    "guard": {"basis": "none"},
    "precondition": {"least_tur": "4"},
    "otherwise": {
        "guard": {"basis": "U", "factor": "1"},
        "precondition": {"greatest_U_over_T": "1/2"},
        "otherwise": "no_statement",
    },
}
REFERENCE = {
    "certificate": "NI-1",
    "issuer": "National Institute",
    "external": True,
    "item": "REF",
    "performed_at": "2024-11-05T10:00:00Z",
    "due_at": "2026-11-05",
    "results": [
        {"point": 1, "unit": "kN", "applied": "10", "error": "0", "U": "0.001", "k": "2"},
        {"point": 2, "unit": "kN", "applied": "250", "error": "0", "U": "0.025", "k": "2"},
    ],
}
POINTS = {
    1: {"applied": "50", "error": "0.090", "U": "0.020"},
    2: {"applied": "100", "error": "0.090", "U": "0.025"},
    3: {"applied": "200", "error": "0.070", "U": "0.026"},
    4: {"applied": "200", "error": "0.010", "U": "0.060"},
}
FAULT = {
    "item": "REF",
    "kind": "understated_uncertainty",
    "last_good_at": "2024-11-05T10:00:00Z",
    "discovered_at": "2025-06-01T08:00:00Z",
    "isolated_at": "2025-06-01T08:00:00Z",
    "U_rel_recorded": "0.0001",
    "U_rel_right": "0.00026",
}


def sent(client, path: str, body: Json, status: int = 201) -> Json:
    answer = client.post(f"/v1/{path}", json=body)
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


def read(client, path: str) -> Json:
    answer = client.get(f"/v1/{path}")
    assert answer.status_code == 200, answer.text
    return json.loads(answer.text)


def calibration(number: str, *points: int, **more: Json) -> Json:
    results = [
        {"point": point, "unit": "kN", "k": "2", "tolerance": "0.1", **POINTS[point]}
        for point in points
    ]
    body = {"certificate": number, "status": "issued", "item": "TL-1", "customer": CUSTOMER}
    body |= {"performed_at": "2025-03-10T10:00:00Z", "issued_at": "2025-03-11T10:00:00Z"}
    body |= {"uses": [{"item": "REF", "role": "force_reference"}]}
    return body | {"results": [one | more for one in results]}


def laboratory(client) -> Json:
    """Agree on the rule, and issue certificates that it decides."""
    items = [
        {"id": "REF", "kind": "reference_standard", "type": "load_cell", "capacity": "300 kN"},
        {"id": "TL-1", "kind": "customer_instrument", "type": "tension_link", "owner": CUSTOMER},
    ]
    sent(client, "imports", {"items": items, "calibrations": [REFERENCE]})
    sent(client, "customers", {"name": CUSTOMER})
    rule = sent(client, "decision-rules", STEPS)
    agreed = {"id": "A-1", "customer": CUSTOMER, "type": "tension_link", "by": "A. Quill"}
    agreed |= {"rule": {"id": "steps", "version": 1}, "from": "2025-01-01"}
    sent(client, "agreements", agreed)
    sent(client, "calibrations", calibration("ALL-1", 1, 2, 3, 4))
    sent(client, "calibrations", calibration("GOOD-1", 1, 2))
    sent(client, "calibrations", calibration("NEAR-1", 3))
    sent(client, "calibrations", calibration("FAR-1", 1))
    return rule


@pytest.fixture
def lab(client, once):
    return client, once(laboratory)


def test_the_rule_is_recorded_with_its_branches_and_explained(lab):
    client, _ = lab
    shown = read(client, "decision-rules/steps")
    assert {name: shown[name] for name in ("precondition", "otherwise")} == {
        "precondition": {"least_tur": "4"},
        "otherwise": {
            "guard": {"basis": "U", "factor": "1"},
            "zones": 2,
            "precondition": {"greatest_U_over_T": "0.5"},
            "otherwise": "no_statement",
        },
    }
    assert shown["version"] == 1
    assert "Where TUR is at least 4: Simple acceptance" in shown["explanation"]
    assert "Otherwise, where U/T is at most 0.5: Guard band w = U" in shown["explanation"]
    assert "Otherwise: No statement of conformity is made." in shown["explanation"]
    # The example has TUR 2 / (2 x 0.2) = 5.
    assert shown["example"]["branch"]["reason"] == "TUR 5 is at least 4"
    again = client.post("/v1/decision-rules", json=STEPS)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    assert client.get("/v1/decision-rules/steps/risk.svg").status_code == 200


def test_a_certificate_states_what_its_branches_decide_and_names_what_is_not_stated(lab):
    client, _ = lab
    shown = read(client, "certificates/ALL-1")
    told = [(one["verdict"], one["branch"]["number"]) for one in shown["results"]]
    assert told == [("pass", 1), ("pass", 1), ("pass", 2), ("no_statement", 3)]
    # 0.2 / (2 x 0.025) = 4; 0.2 / (2 x 0.06) = 1.6667; 0.06 / 0.1 = 0.6
    assert shown["results"][1]["branch"]["reason"] == "TUR 4 is at least 4"
    last = shown["results"][3]["branch"]
    assert last["reason"] == "TUR 1.667 is below 4 and U/T 0.6 is above 0.5"
    assert last["decides"] is None
    assert [one["holds"] for one in last["preconditions"]] == [False, False]
    # That every result conforms is not stated.
    assert shown["overall"] == {"single": "no_statement"}
    statement = shown["statement"]
    assert "The results judged meet their specification (points 1 to 3, 50 to 200 kN)." in statement
    assert "Decided by branch 1 at points 1 and 2; by branch 2 at point 3." in statement
    assert (
        "By its rule no statement of conformity is made for point 4: "
        "TUR 1.667 is below 4 and U/T 0.6 is above 0.5 at point 4."
    ) in statement
    assert (
        "if TUR is at least 4; else guard band w = U, if U/T is at most 0.5; else no statement"
        in (statement)
    )
    assert f"The rule was agreed with {CUSTOMER} (agreement A-1, version 1)." in statement
    assert read(client, "certificates/GOOD-1")["overall"] == {"single": "pass"}
    visitor = Visitor(client.application)
    visitor.sign_in(client.token)
    page = visitor.get("/certificates/ALL-1").text
    assert "branch 3: TUR 1.667 is below 4 and U/T 0.6 is above 0.5" in page


def test_another_verdict_than_none_is_refused_at_issue(lab):
    client, _ = lab
    body = calibration("SAID-1", 4, verdict_reported="pass")
    refused = sent(client, "calibrations", body, 409)
    (error,) = refused["errors"]
    assert error["code"] == "verdict_differs"
    assert "reported as pass, but rule, limits and U give no statement" in error["detail"]
    sent(client, "calibrations", calibration("SAID-2", 4, verdict_reported="no_statement"))


def test_a_result_is_decided_by_what_was_agreed(lab):
    client, _ = lab
    body = {"value": "0.01", "U": "0.06", "unit": "kN", "agreement": "A-1"}
    body |= {"nominal": "0", "tolerance": "0.1"}
    found = sent(client, "decisions", body)
    assert found["verdict"] == "no_statement"
    assert found["branch"]["number"] == 3
    assert found["acceptance"] == {
        "lower": None,
        "upper": None,
        "empty": True,
        "reason": "no statement is made: TUR 1.667 is below 4 and U/T 0.6 is above 0.5",
    }
    assert found["statement"].startswith("No statement of conformity with the specification")
    assert read(client, f"decisions/{found['id']}")["verdict"] == "no_statement"
    listed = read(client, "decisions?verdict=no_statement")["items"]
    assert [one["id"] for one in listed] == [found["id"]]
    again = sent(client, f"decisions/{found['id']}/replay", {}, 200)
    assert again["identical"] is True
    picture = client.get(f"/v1/decisions/{found['id']}/figure.svg")
    assert picture.status_code == 200
    assert "no statement" in picture.text


def test_a_batch_counts_what_is_not_stated(lab):
    client, _ = lab
    rows = [{"id": n, "value": p["error"], "U": p["U"], "nominal": "0", "tolerance": "0.1"}
            for n, p in POINTS.items()]  # fmt: skip
    found = sent(client, "batches", {"rows": rows, "rule": "steps"}, 200)
    told = [(row["verdict"], row["rule_branch"]) for row in found["rows"]]
    assert told == [("pass", 1), ("pass", 1), ("pass", 2), ("no_statement", 3)]
    assert found["rows"][3]["rule_branch_reason"] == "TUR 1.667 is below 4 and U/T 0.6 is above 0.5"
    assert found["summary"]["by_verdict"] == {
        "pass": 3,
        "conditional_pass": 0,
        "conditional_fail": 0,
        "fail": 0,
        "no_statement": 1,
    }


def test_a_recall_moves_results_across_the_limits(lab):
    client, _ = lab
    recall = sent(client, "recalls", {"fault": FAULT})
    entries = {one["certificate"]: one for one in recall["affected"]}
    points = entries["ALL-1"]["points"]
    moved = [(one["verdict_before"], one["verdict_after"], one["changed"]) for one in points]
    assert moved == [
        ("pass", "pass", False),
        ("pass", "fail", True),
        ("pass", "no_statement", True),
        ("no_statement", "no_statement", False),
    ]
    # TUR 0.2 / (2 x 0.023324) = 4.287 and 0.2 / (2 x 0.034655) = 2.886 and U/T 0.34655, 0.54589
    assert [one["branch_after"]["reason"] for one in points[:3]] == [
        "TUR 4.287 is at least 4",
        "TUR 2.886 is below 4 and U/T 0.3466 is at most 0.5",
        "TUR 1.832 is below 4 and U/T 0.5459 is above 0.5",
    ]
    assert [one["branch_before"]["number"] for one in points] == [1, 1, 2, 3]
    assert entries["ALL-1"]["overall"] == {"single": {"before": "no_statement", "after": "fail"}}
    near = entries["NEAR-1"]
    assert near["verdict_changes"] is True
    assert near["overall"] == {"single": {"before": "pass", "after": "no_statement"}}
    assert entries["FAR-1"]["verdict_changes"] is False
    assert recall["summary"]["verdict_changes"] == 3  # ALL-1, GOOD-1 and NEAR-1
    told_to_the_customer(client, recall)


def told_to_the_customer(client, recall: Json) -> None:
    """No action on a statement that is made no more needs a reason, and the notice says it."""
    case = f"recalls/{recall['id']}"
    body = {"certificates": ["NEAR-1"], "action": "no_action", "by": "A. Quill"}
    body |= {"justification": "the link was scrapped"}
    refused = sent(client, f"{case}/dispositions", body, 422)
    (error,) = refused["errors"]
    assert error["detail"] == "its rule makes no statement any more where one was made"
    reason = {"reason_for_customer": "you returned the link to us"}
    sent(client, f"{case}/dispositions", body | reason)
    rows = client.get(f"/v1/{case}/export.csv").text
    assert "pass,no_statement" in rows
    assert "U/T 0.5459 is above 0.5" in rows
    for number in ("ALL-1", "GOOD-1", "FAR-1"):
        more = {"certificates": [number], "action": "reissue", "by": "A. Quill"}
        sent(client, f"{case}/dispositions", more)
    tag = client.get("/v1/laboratory").headers["ETag"]
    about = {"name": "Meridian Force", "contact": "A. Quill"}
    client.patch("/v1/laboratory", json=about, headers={"If-Match": tag})
    (notice,) = sent(client, f"{case}/notices", {"by": "A. Quill"})["items"]
    told = read(client, f"{case}/notices/{notice['id']}")
    (near,) = [one for one in told["content"]["certificates"] if one["certificate"] == "NEAR-1"]
    assert "we state no conformity any more" in near["action"]["words"]
    assert near["points"][0]["branch_after"]["reason"].endswith("U/T 0.5459 is above 0.5")
    assert near["points"][0]["rule"].endswith("if U/T is at most 0.5; else no statement")
    accept = {"Accept": "text/plain"}
    shown = " ".join(client.get(f"/v1/{case}/notices/{notice['id']}", headers=accept).text.split())
    assert "now no statement (TUR 1.832 is below 4 and U/T 0.5459 is above 0.5)" in shown
