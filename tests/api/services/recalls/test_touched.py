"""A holding, check or item that is written late flags the open recalls that it changes.

ISO/IEC 17025:2017, 7.10: what a nonconformity touched is evaluated; from memory. Each case changes
what a fresh recall of the same fault finds, which the preview beside it shows.
"""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref

EFFECT = {"tension_link": "-0.0005"}
PIN = {"item": "PIN", "kind": "indication_effect_by_type", "effect_rel": EFFECT}
HELD = {"assembly": "ADP", "part": "PIN", "from": "2025-01-15T00:00:00Z"}
CHECK = {
    "id": "C-1",
    "item": "REF",
    "at": "2025-02-15T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0001",
    "U_rel": "0.0001",
    "independent": True,
    "covers": "full range",
}
SAID = {"by": "M. Tarn", "reason": "the log says otherwise"}


@pytest.fixture
def laboratory(client):
    """K-1 of a tension link used REF and ADP; nothing says yet that PIN was in ADP."""
    made = lab(
        cal("K-1", "A", "02-01", [ref("REF"), ref("ADP", role="adapter")]),
        cal("Z-1", "Z", "02-01", [ref("OTHER")]),
        types={"A": "tension_link"},
    )
    made["items"].append({"id": "PIN", "kind": "adapter_part"})
    assert client.post("/v1/imports", json=made).status_code == 201
    return client


def recalled(client, fault):
    made = client.post("/v1/recalls", json={"fault": fault | OPEN})
    assert made.status_code == 201, made.text
    return made.get_json()["id"]


def flag(client, key):
    return client.get(f"/v1/recalls/{key}").get_json().get("stale")


@pytest.mark.parametrize("way", ["/v1/compositions", "/v1/imports"])
def test_a_late_holding(laboratory, way):
    key = recalled(laboratory, PIN)
    sent = {"composition": [HELD]} if way == "/v1/imports" else HELD
    assert laboratory.post(way, json=sent).status_code == 201
    added = flag(laboratory, key)["differences"]["added"]["certificates"]
    assert [one["certificate"] for one in added] == ["K-1"]


@pytest.mark.parametrize("change", [{"until": "2025-01-20"}, {"withdrawn": True}])
def test_a_corrected_holding(laboratory, change):
    laboratory.post("/v1/compositions", json=HELD)
    key = recalled(laboratory, PIN)
    laboratory.post("/v1/compositions/1/corrections", json=SAID | change)
    found = flag(laboratory, key)["differences"]
    gone = [*found["removed"]["certificates"], *found["moved"]["certificates"]]
    assert [one["certificate"] for one in gone] == ["K-1"]


def test_an_end_that_is_recorded_late(laboratory):
    made = laboratory.post("/v1/compositions", json=HELD)
    key = recalled(laboratory, PIN)
    headers = {"If-Match": made.headers["ETag"]}
    until = {"until": "2025-01-20T00:00:00Z"}
    assert laboratory.patch("/v1/compositions/1", json=until, headers=headers).status_code == 200
    assert flag(laboratory, key) is not None


@pytest.mark.parametrize("way", ["/v1/checks", "/v1/imports"])
def test_a_late_check_that_narrows(laboratory, way):
    key = recalled(laboratory, force_fault("REF"))
    assert (
        laboratory.post(way, json={"checks": [CHECK]} if "imp" in way else CHECK).status_code == 201
    )
    assert flag(laboratory, key) is not None


def test_a_withdrawn_check(laboratory):
    laboratory.post("/v1/checks", json=CHECK)
    key = recalled(laboratory, force_fault("REF"))
    laboratory.post("/v1/checks/C-1/corrections", json=SAID | {"withdrawn": True})
    assert flag(laboratory, key) is not None


def test_another_type_of_an_item(laboratory):
    laboratory.post("/v1/compositions", json=HELD)
    key = recalled(laboratory, PIN)
    headers = {"If-Match": laboratory.get("/v1/items/A").headers["ETag"]}
    assert (
        laboratory.patch("/v1/items/A", json={"type": "shackle"}, headers=headers).status_code
        == 200
    )
    assert flag(laboratory, key) is not None


def test_exchanged_items(laboratory):
    key = recalled(laboratory, force_fault("REF"))
    swap = {"items": ["REF", "OTHER"], "from": "2025-01-01"}
    assert laboratory.post("/v1/identity-swaps", json=SAID | swap).status_code == 201
    found = flag(laboratory, key)["differences"]
    assert [one["certificate"] for one in found["added"]["certificates"]] == ["Z-1"]
    assert [one["certificate"] for one in found["removed"]["certificates"]] == ["K-1"]


def test_what_has_nothing_to_do_with_it(laboratory):
    key = recalled(laboratory, PIN)
    laboratory.post("/v1/checks", json=CHECK | {"item": "OTHER"})
    laboratory.post("/v1/compositions", json=HELD | {"assembly": "OTHER", "part": "Z"})
    assert flag(laboratory, key) is None
