"""A calibration that would rest on itself by way of what an assembly held is refused, however sent.

R calibrated W (C-1, 10 January); the machine A holds W and has no value of its own, so that whoever
uses A rests on W. DESIGN: a cycle is a calibration that rests on itself; an assembly without a
value passes on what its parts do.
"""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa
from oracle_cases import OPEN, cal, lab, part, ref

from api.services.upkeep.verification import verify
from api.store.tables import Certificate, Composition

Json = dict[str, Any]
SAID = {"by": "M. Tarn", "reason": "the sheet says so"}
FAULT: Json = {"item": "R", "kind": "true_force_relative_error", "delta_rel": "0.001"} | OPEN
KINDS = {"A": "force_machine", "B": "force_machine", "D": "customer_instrument"}
OWN = cal("C-9", "W", "03-01", [ref("A")])


@pytest.fixture
def laboratory(client):
    records = lab(
        cal("C-1", "W", "01-10", [ref("R")]),
        cal("C-2", "W-2", "03-01", [ref("A")]),
        kinds=KINDS,
        composition=[part("A", "W", start="2025-01-01")],
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    assert recall(client) == ["C-1", "C-2"]
    return client


def recall(client):
    answer = client.post("/v1/recalls", json={"fault": FAULT, "preview": True})
    assert answer.status_code == 200, answer.get_json()
    return [one["certificate"] for one in answer.get_json()["affected"]]


def held_later(client):
    """W-2 comes into A after C-2; correcting that to before would make C-2 rest on itself."""
    body = part("A", "W-2", start="2025-03-02")
    return client.post("/v1/compositions", json=body).get_json()["id"]


def b_holds_a(client):
    client.post("/v1/compositions", json=part("B", "A", start="2025-01-01"))
    return client.post("/v1/calibrations", json=OWN | {"uses": [ref("B")]})


@pytest.mark.parametrize(
    "write",
    [
        lambda client: client.post("/v1/calibrations", json=OWN),
        lambda client: client.post("/v1/imports", json={"calibrations": [OWN]}),
        lambda client: client.post("/v1/certificates/C-1/uses", json={"use": ref("A")} | SAID),
        lambda client: client.post(
            "/v1/certificates/C-1/uses/0/corrections", json={"use": ref("A")} | SAID
        ),
        lambda client: client.post("/v1/compositions", json=part("A", "W-2", start="2025-02-01")),
        lambda client: client.post(
            "/v1/imports", json={"composition": [part("A", "W-2", start="2025-02-01")]}
        ),
        lambda client: client.post(
            f"/v1/compositions/{held_later(client)}/corrections",
            json={"from": "2025-02-01T00:00:00Z"} | SAID,
        ),
        b_holds_a,
    ],
)
def test_it_is_refused_and_recalls_go_on(laboratory, write):
    answer = write(laboratory)
    assert answer.status_code == 422, answer.get_json()
    (error,) = answer.get_json()["errors"]
    assert "rests on itself" in error["detail"]
    assert "/v1/compositions/{id}/corrections" in error["remedy"]
    assert recall(laboratory) == ["C-1", "C-2"]


def test_at_another_time_the_same_two_are_lawful(laboratory):
    # W was calibrated again after it had left the machine.
    (holding,) = laboratory.get("/v1/compositions?part=W").get_json()["items"]
    etag = laboratory.get(f"/v1/compositions/{holding['id']}").headers["ETag"]
    ended = laboratory.patch(
        f"/v1/compositions/{holding['id']}",
        json={"until": "2025-02-28T00:00:00Z"},
        headers={"If-Match": etag},
    )
    assert ended.status_code == 200
    # A carries no value any more; somebody answers for that.
    body = OWN | {"override": SAID}
    assert laboratory.post("/v1/calibrations", json=body).status_code == 201


def test_what_was_recorded_before_such_was_refused_is_named_and_found(laboratory, database):
    stored = laboratory.post("/v1/recalls", json={"fault": FAULT}).get_json()["id"]
    with database.write() as session:
        key = session.scalar(sa.select(Certificate.item_id).where(Certificate.number == "C-2"))
        session.execute(sa.update(Composition).values(part_id=key))
    answer = laboratory.post("/v1/recalls", json={"fault": FAULT | {"item": "A"}, "preview": True})
    assert answer.status_code == 409
    (error,) = answer.get_json()["errors"]
    assert "C-2 rests on C-2" in error["detail"]
    assert "--reach" in error["remedy"]
    with database.read() as session:
        assert "no circle through parts" in {one.check for one in verify(session).findings}
    # The stored recall no longer reaches it, and says something else than it did.
    assert laboratory.get(f"/v1/recalls/{stored}?exact=true").get_json()["stale"] is True
