"""Dispositions over HTTP: one by one or many at once, never overwritten."""

from __future__ import annotations

import pytest


def listed(recalled, query=""):
    return recalled.client.get(f"{recalled.at}/dispositions{query}").get_json()["items"]


def test_a_disposition_says_what_is_done_by_whom_and_when(recalled):
    made = recalled.dispose("recalibrate_free", certificates=["C-1"])
    assert made.status_code == 201
    assert made.get_json() == {"recorded": 1, "missing": 3}
    (shown,) = listed(recalled)
    assert shown.pop("at").endswith("Z")
    assert shown == {
        "certificate": "C-1",
        "revision": 0,
        "class": "affected",
        "action": "recalibrate_free",
        "by": "Quinn Assessor",
    }


def test_a_later_disposition_counts_and_the_earlier_stays_readable(recalled):
    recalled.dispose("withdraw", certificates=["C-1"])
    recalled.dispose("reissue", certificates=[{"certificate": "C-1", "revision": 0}])
    assert [one["action"] for one in listed(recalled)] == ["reissue"]
    assert [one["action"] for one in listed(recalled, "?history=true")] == ["withdraw", "reissue"]
    assert recalled.case().get_json()["dispositions"]["by_action"] == {"reissue": 1}


@pytest.mark.parametrize(
    ("selection", "expected"),
    [
        ({"list": "affected"}, ["C-1", "C-2", "C-3"]),
        ({"list": "affected", "verdict_changes": True}, ["C-1", "C-3"]),
        ({"list": "affected", "verdict_changes": False}, ["C-2"]),
        ({"list": "indeterminate", "verdict_changes": None}, ["C-4"]),
        ({"list": "exposed_zero_effect"}, []),
    ],
)
def test_a_list_is_disposed_of_at_once(recalled, selection, expected):
    made = recalled.dispose(**selection)
    assert made.get_json()["recorded"] == len(expected)
    assert [one["certificate"] for one in listed(recalled)] == expected


def test_the_rest_of_a_list_is_what_nobody_decided_yet(recalled):
    recalled.dispose("withdraw", certificates=["C-1"])
    made = recalled.dispose(
        "no_action",
        list="affected",
        undecided=True,
        justification="within what was stated",
        reason_for_customer="you scrapped the item",
    )
    assert made.get_json()["recorded"] == 2
    assert {one["certificate"]: one["action"] for one in listed(recalled)} == {
        "C-1": "withdraw",
        "C-2": "no_action",
        "C-3": "no_action",
    }


def test_no_action_is_justified(recalled):
    refused = recalled.dispose("no_action", certificates=["C-1"])
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/justification"
    kept = recalled.dispose("no_action", certificates=["C-2"], justification="scrapped since")
    assert kept.status_code == 201
    assert listed(recalled)[0]["justification"] == "scrapped since"


def test_no_action_for_a_certificate_that_fails_needs_a_reason_for_the_customer(recalled):
    # C-1: -0.004 - 0.0005 x 10 = -0.009, C-3: -0.011; accepted to 0.01 - U. C-2 and C-4 do not.
    body = {"list": "affected", "justification": "the customer scrapped it"}
    refused = recalled.dispose("no_action", **body)
    assert refused.status_code == 422
    errors = refused.get_json()["errors"]
    assert [one["value"] for one in errors] == ["C-1 rev. 0", "C-3 rev. 0"]
    assert {one["pointer"] for one in errors} == {"/reason_for_customer"}
    assert listed(recalled) == []
    kept = recalled.dispose("no_action", **body, reason_for_customer="You told us it is scrapped.")
    assert kept.status_code == 201
    assert listed(recalled)[0]["reason_for_customer"] == "You told us it is scrapped."


@pytest.mark.parametrize(
    ("filters", "expected"),
    [
        ({"customer": "Harbour Cranes"}, ["C-1", "C-2"]),
        ({"item": "I-3"}, ["C-3"]),
        ({"generation": 2}, []),
        # Each error shifts by 0.005 with U 0.002, so |shift|/U is 2.5.
        ({"min_shift_over_U": "2.5"}, ["C-1", "C-2", "C-3"]),
        ({"min_shift_over_U": "2.6"}, []),
        ({"customer": "Harbour Cranes", "verdict_changes": True}, ["C-1"]),
    ],
)
def test_all_that_pass_a_filter_are_disposed_of_if_their_count_is_right(
    recalled, filters, expected
):
    for wrong in (len(expected) + 1, len(expected) + 40):
        refused = recalled.dispose(list="affected", count=wrong, **filters)
        assert refused.status_code == 409
        assert refused.get_json()["errors"][0]["pointer"] == "/count"
        assert listed(recalled) == []
    made = recalled.dispose(list="affected", count=len(expected), **filters)
    assert made.get_json()["recorded"] == len(expected)
    assert [one["certificate"] for one in listed(recalled)] == expected


def test_the_count_is_of_those_that_nobody_decided_where_only_these_are_meant(recalled):
    recalled.dispose(certificates=["C-1"])
    sent = {"list": "affected", "customer": "Harbour Cranes", "undecided": True}
    assert recalled.dispose(count=2, **sent).status_code == 409
    assert recalled.dispose(count=1, **sent).get_json()["recorded"] == 1


def test_a_filter_without_a_count_is_refused(recalled):
    refused = recalled.dispose(list="affected", customer="Harbour Cranes")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/count"
    assert listed(recalled) == []


def test_certificates_that_are_named_can_be_counted_too(recalled):
    assert recalled.dispose(certificates=["C-1", "C-2"], count=1).status_code == 409
    assert recalled.dispose(certificates=["C-1", "C-2"], count=2).status_code == 201


def test_certificates_that_the_recall_does_not_list_are_named_and_nothing_is_stored(recalled):
    refused = recalled.dispose(certificates=["C-1", "GHOST", {"certificate": "C-2", "revision": 3}])
    assert refused.status_code == 422
    assert [one["pointer"] for one in refused.get_json()["errors"]] == [
        "/certificates/1",
        "/certificates/2",
    ]
    assert listed(recalled) == []


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"certificates": ["C-1"], "list": "affected"},
        {"certificates": []},
        {"certificates": ["C-1"], "undecided": True},
        {"certificates": ["C-1"], "verdict_changes": True},
        {"certificates": ["C-1"], "customer": "Harbour Cranes", "count": 1},
        {"list": "cleared"},
        {"certificates": [7]},
    ],
)
def test_what_is_meant_is_said_in_one_way(recalled, more):
    assert recalled.dispose(**more).status_code == 422


def test_a_closed_case_takes_no_more_dispositions(recalled):
    for name in ("affected", "indeterminate"):
        recalled.dispose(list=name)
    recalled.excepted()
    for state in ("assessed", "notified", "closed"):
        assert recalled.step(state).status_code == 200
    assert recalled.dispose(certificates=["C-1"]).status_code == 409


def test_the_version_that_was_read_is_honoured_where_it_is_sent(recalled):
    etag = recalled.case().headers["ETag"]
    body = {"action": "withdraw", "by": "Q", "certificates": ["C-1"]}
    first, second = (
        recalled.client.post(
            f"{recalled.at}/dispositions", json=body, headers={"If-Match": etag}
        ).status_code
        for _ in range(2)
    )
    assert (first, second) == (201, 412)


def test_dispositions_are_filtered_and_paged(recalled):
    recalled.dispose("withdraw", list="affected")
    recalled.dispose("reissue", certificates=["C-4"])
    assert [one["certificate"] for one in listed(recalled, "?action=reissue")] == ["C-4"]
    assert [one["certificate"] for one in listed(recalled, "?certificate=C-2")] == ["C-2"]
    page = recalled.client.get(f"{recalled.at}/dispositions?limit=3").get_json()
    rest = recalled.client.get(page["next"]).get_json()
    assert [one["certificate"] for one in rest["items"]] == ["C-4"]
