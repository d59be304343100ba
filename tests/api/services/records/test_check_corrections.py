"""A check recorded on bad data is put right or withdrawn; it narrows no window then.

That a technical record keeps its original entry and who corrected it: ISO/IEC 17025:2017, 7.5.2,
from memory. When a check narrows: DEVELOPERS.md and the worked laboratories.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref

CHECK = {
    "id": "C/1",
    "item": "REF",
    "at": "2025-02-15T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0001",
    "U_rel": "0.0001",
    "independent": True,
    "covers": "full range",
    "note": "quick",
}
SAID = {"by": "M. Tarn", "reason": "the wrong load cell was on the bench"}
AT = "/v1/checks/C%2F1/corrections"


@pytest.fixture
def checked(client):
    """K-1 used REF before the check passed, K-2 after it."""
    made = lab(
        cal("K-1", "A", "02-01", [ref("REF")]),
        cal("K-2", "B", "03-01", [ref("REF")]),
        checks=[CHECK],
    )
    assert client.post("/v1/imports", json=made).status_code == 201
    return client


def affected(client):
    request = {"fault": force_fault("REF"), "preview": True}
    shown = client.post("/v1/recalls", json=request).get_json()
    return [one["certificate"] for one in shown["affected"]]


def test_a_withdrawn_check_narrows_nothing_and_stays_readable(checked):
    assert affected(checked) == ["K-2"]
    answer = checked.post(AT, json=SAID | {"withdrawn": True})
    assert answer.status_code == 201, answer.text
    assert affected(checked) == ["K-1", "K-2"]
    shown = checked.get("/v1/checks/C%2F1").get_json()
    assert shown == answer.get_json()
    assert shown["withdrawn"] is True
    (kept,) = shown["corrections"]
    assert kept["before"] == CHECK
    assert kept["after"] == CHECK | {"withdrawn": True}
    assert (kept["by"], kept["reason"]) == (SAID["by"], SAID["reason"])
    assert checked.post(AT, json=SAID | {"withdrawn": False}).status_code == 201
    assert affected(checked) == ["K-2"]


@pytest.mark.parametrize(
    "changes",
    [
        {"result": "fail"},
        {"item": "A"},
        {"independent": None},
        {"covers": None},
        {"acceptance_limit_rel": "0.001"},
        {"at": "2025-01-02"},
    ],
)
def test_any_field_is_put_right(checked, changes):
    shown = checked.post(AT, json=SAID | changes)
    assert shown.status_code == 201, shown.text
    for name, value in changes.items():
        assert shown.get_json().get(name) == value
    assert affected(checked) == ["K-1", "K-2"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"by": "M", "result": "fail"}, "/reason"),
        ({"reason": "r", "result": "fail"}, "/by"),
        (SAID | {"result": None}, "/result"),
        (SAID | {"id": "C-2"}, "/id"),
        (SAID | {"against": "NONE"}, "/against"),
        (SAID | {"at": "2025-02-15T00:00:00"}, "/at"),
        (SAID | {"mode": "torsion"}, "/mode"),
        (SAID, ""),
        (SAID | {"result": "pass", "withdrawn": False}, ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(checked, body, pointer):
    answer = checked.post(AT, json=body)
    assert answer.status_code == 422, answer.text
    assert [one["pointer"] for one in answer.get_json()["errors"]] == [pointer]
    assert "corrections" not in checked.get("/v1/checks/C%2F1").get_json()


def test_the_file_it_came_from_and_a_file_that_was_mended_are_both_unchanged(checked):
    assert checked.post(AT, json=SAID | {"mode": "tension"}).status_code == 201
    for sent in (CHECK, CHECK | {"mode": "tension"}):
        assert checked.post("/v1/checks", json=sent).status_code == 200
    assert checked.post("/v1/checks", json=CHECK | {"mode": "compression"}).status_code == 409


def test_an_unknown_check_is_not_found(checked):
    assert checked.post("/v1/checks/C-9/corrections", json=SAID).status_code == 404
