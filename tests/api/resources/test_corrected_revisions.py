"""Drafts of corrected revisions: what the recall says, and nothing else changed.

An amended certificate is a new one that names what it replaces (ISO/IEC 17025:2017, 7.8.8, from
memory). The arithmetic is that of the recall of `conftest`: delta 0.0005, U_delta 0.0002 (k = 2).
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, percent, ref, row

from api.services.upkeep.verification import verify


def draft(recalled, number="C-1", query="", **more):
    address = f"{recalled.at}/revisions/{number}{query}"
    return recalled.client.post(address, json={"by": "Robin Manager"} | more)


def drafts(recalled, **more):
    return recalled.client.post(f"{recalled.at}/revisions", json={"by": "Robin Manager"} | more)


def shown(recalled, number, revision):
    return recalled.client.get(f"/v1/certificates/{number}?revision={revision}")


def test_a_draft_is_the_next_revision_with_what_the_recall_corrected(recalled):
    before = shown(recalled, "C-1", 0).get_json()
    made = draft(recalled)
    assert made.status_code == 201, made.text
    found = made.get_json()
    assert (found["revision"], found["status"]) == (1, "draft")
    assert made.headers["Location"].endswith("/v1/certificates/C-1?revision=1")
    # -0.004 - 0.0005 x 10 = -0.009; U = 2 sqrt(0.001^2 + (10 x 0.0001)^2); |error| + U > 0.01
    (result,) = found["results"]
    was = before["results"][0]
    assert result == was | {
        "error": "-0.009",
        "U": "0.00282842712475",
        "verdict_reported": "fail",
    }
    assert found["uses"] == before["uses"]
    for name in ("item", "customer", "performed_at"):
        assert found[name] == before[name]
    assert "R-00001" in found["amendment"]
    assert "revision 0" in found["amendment"]
    assert "issued_at" not in found
    assert shown(recalled, "C-1", 0).get_json()["status"] == "issued"


def test_a_draft_records_what_was_taken(recalled):
    (taken,) = draft(recalled).get_json()["fault_corrections"]
    assert taken.pop("at").endswith("Z")
    assert taken == {
        "recall": "R-00001",
        "faults": [{"item": "REF", "kind": "true_force_relative_error"}],
        "windows": [
            {
                "start": "2025-01-01T00:00:00Z",
                "start_inclusive": False,
                "end": "2025-06-30T12:00:00Z",
                "end_inclusive": True,
            }
        ],
        "by": "Robin Manager",
        "points": [{"point": 1, "stage": "single", "delta_rel": "0.0005"}],
    }
    assert "fault_corrections" not in shown(recalled, "C-1", 0).get_json()


def test_a_draft_that_is_issued_takes_the_place_of_the_one_before(recalled, database):
    draft(recalled, amendment="Corrected for the drift of our reference.")
    sent = {"issued_at": "2025-07-15"}
    issued = recalled.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    assert issued.status_code == 200, issued.text
    assert issued.get_json()["amendment"] == "Corrected for the drift of our reference."
    assert shown(recalled, "C-1", 0).get_json()["status"] == "superseded"
    with database.read() as session:
        assert verify(session).findings == []


@pytest.mark.parametrize(
    ("number", "status", "said"),
    [("C-4", 409, "indeterminate"), ("GHOST", 404, "does not list")],
)
def test_what_cannot_be_corrected_is_refused_by_name(recalled, number, status, said):
    refused = draft(recalled, number)
    assert refused.status_code == status
    assert refused.get_json()["errors"][0]["value"].startswith(number)
    assert said in refused.text


def test_a_certificate_is_drafted_once(recalled):
    draft(recalled)
    again = draft(recalled)
    assert again.status_code == 409
    assert again.get_json()["errors"][0]["detail"] == "revision 1 is recorded already"


def test_all_that_is_to_be_reissued_is_drafted_at_once_and_only_once(recalled):
    recalled.dispose("reissue", certificates=["C-1", "C-3", "C-4"])
    recalled.dispose("withdraw", certificates=["C-2"])
    made = drafts(recalled).get_json()["items"]
    # C-4 is indeterminate: there is nothing to correct it by.
    assert [(one["certificate"], one["revision"]) for one in made] == [("C-1", 1), ("C-3", 1)]
    assert made[1]["results"][0]["error"] == "-0.011"
    assert drafts(recalled).get_json()["items"] == []


def test_of_several_that_are_named_all_are_drafted_or_none(recalled):
    refused = drafts(recalled, certificates=["C-1", "C-4"])
    assert refused.status_code == 409
    assert [one["value"] for one in refused.get_json()["errors"]] == ["C-4 rev. 0"]
    assert shown(recalled, "C-1", 1).status_code == 404
    made = drafts(recalled, certificates=["C-2", {"certificate": "C-1", "revision": 0}])
    assert [one["certificate"] for one in made.get_json()["items"]] == ["C-2", "C-1"]


def test_indication_and_error_agree_in_a_draft(recall_of):
    # Absolute: 9.996 - 10 = -0.004, both less 0.005. In percent of the true force:
    # 100 x (1.0002/1.0005 - 1) = -0.02998500749625187..., of 20 kN.
    recalled = recall_of(
        lab(
            cal(
                "C-1",
                "I-1",
                "02-01",
                [ref("REF")],
                [
                    row("10", "-0.004", indicated="9.996", error_rel_pct="-0.04"),
                    percent("0.02", point=2, applied="20", indicated="20.004", unit="kN"),
                ],
            )
        )
    )
    absolute, relative = draft(recalled).get_json()["results"]
    assert (absolute["indicated"], absolute["error"]) == ("9.991", "-0.009")
    assert "error_rel_pct" not in absolute
    assert relative["error_rel_pct"].startswith("-0.029985007")
    assert relative["indicated"].startswith("19.99400299")
    assert "error" not in relative


def test_a_customer_reads_no_record_of_what_was_taken(recalled, keys):
    draft(recalled)
    sent = {"issued_at": "2025-07-15"}
    recalled.client.post("/v1/certificates/C-1/issue?revision=1", json=sent)
    headers = keys.headers("read", customer="Harbour Cranes")
    answer = recalled.client.get("/v1/certificates/C-1", headers=headers).get_json()
    assert answer["revision"] == 1
    assert "fault_corrections" not in answer


def test_a_draft_is_traced_and_recalls_nobody(recalled):
    draft(recalled)
    request = {"fault": recalled.recall["faults"][0], "preview": True}
    again = recalled.client.post("/v1/recalls", json=request).get_json()
    assert [one["certificate"] for one in again["affected"]] == ["C-1", "C-2", "C-3"]
    assert [(one["certificate"], one["revision"]) for one in again["traced_not_recalled"]] == [
        ("C-1", 1)
    ]
