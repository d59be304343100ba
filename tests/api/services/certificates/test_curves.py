"""Curves that certificates assign, over HTTP: recorded, asked, seen, and kept by revisions."""

from __future__ import annotations

import numpy as np
import pytest
import sqlalchemy as sa
from oracle_cases import OPEN, cal, lab, ref, row

from api.services.upkeep.verification import verify
from api.store.tables import Certificate

# F = 0.1 + 99.5 d + 0.25 d^2 (kN and mV/V), as ISO 376 would have it (from memory).
CURVE = {
    "of": "force",
    "coefficients": ["0.10", "99.5", "0.25"],
    "unit": "kN",
    "deflection_unit": "mV/V",
    "range": {"from": "20", "to": "200"},
}
ADDRESS = "/v1/certificates/R-1/curve"


def recorded(client, curve=CURVE, results=(), **more):
    more |= {} if curve is None else {"curve": curve}
    record = cal("R-1", "REF", "01-10", [], list(results), external=True, **more)
    return client.post("/v1/imports", json=lab(record))


def issues(answer) -> dict[str, str]:
    return {one["pointer"]: one["detail"] for one in answer.get_json()["errors"]}


def test_a_curve_is_shown_as_it_was_sent_and_gives_force_and_deflection(client):
    assert recorded(client).status_code == 201
    assert client.get("/v1/certificates/R-1").get_json()["curve"] == CURVE
    shown = client.get(ADDRESS).get_json()
    assert shown == CURVE | {
        **{"certificate": "R-1", "revision": 0, "item": "REF", "curve_unit": "kN"},
    }
    # at d = 1.2: 0.1 + 119.4 + 0.25 x 1.44 = 119.86
    assert client.get(f"{ADDRESS}?deflection=1.2").get_json()["force"] == "119.86"
    # 119.86 kN is 119860 N, and the root ends; 100 kN: numpy's, to its own precision
    back = client.get(f"{ADDRESS}?force=119860&unit=N").get_json()
    assert (back["deflection"], back["unit"], back["curve_unit"]) == ("1.2", "N", "kN")
    found = client.get(f"{ADDRESS}?force=100").get_json()["deflection"]
    assert len(found.replace(".", "")) == 12 + found.startswith("0")
    assert float(found) == pytest.approx(np.roots([0.25, 99.5, 0.1 - 100]).max(), rel=1e-11)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("force=200.001", "ask for a force of 20 to 200 kN"),
        ("force=19999&unit=N", "ask for a force of 20000 to 200000 N"),
        # 20 and 200 kN: (-99.5 + sqrt(99.5^2 + 19.9))/0.5 and (-99.5 + sqrt(99.5^2 + 199.9))/0.5,
        # worked with mpmath
        ("deflection=2.1", "ask for a deflection of 0.199899598368 to 1.99900497266 mV/V"),
    ],
)
def test_outside_its_range_a_curve_gives_nothing(client, asked, told):
    recorded(client)
    refused = client.get(f"{ADDRESS}?{asked}")
    (error,) = refused.get_json()["errors"]
    assert (refused.status_code, error["remedy"]) == (422, told)
    assert "outside" in error["detail"]


def test_one_thing_is_asked_and_of_a_certificate_with_a_curve(client):
    assert recorded(client, curve=None).status_code == 201
    assert "assigns no curve" in client.get(ADDRESS).get_json()["detail"]
    assert client.get(f"{ADDRESS}?force=1&deflection=1").status_code == 422


def test_the_range_is_that_of_the_results_where_none_is_given(client):
    bare = {name: CURVE[name] for name in ("of", "coefficients", "unit")}
    results = [row(force, point=n) for n, force in enumerate(("0", "50", "150"), 1)]
    recorded(client, bare, results)
    curve = client.get("/v1/certificates/R-1").get_json()["curve"]
    assert curve["range"] == {"from": "50", "to": "150"}


@pytest.mark.parametrize(
    ("more", "place", "told"),
    [
        ({"range": None}, "curve/range", "not given"),
        # F = 99.5 d - 25 d^2 turns at 1.99 mV/V, at 99.0025 kN
        ({"coefficients": ["0", "99.5", "-25"]}, "curve/coefficients", "whole range"),
        ({"of": "deflection", "coefficients": ["0", "1", "-0.01"]}, "curve/coefficients", "turns"),
        ({"coefficients": ["1"]}, "curve/coefficients", "no curve of degree 1 to 5"),
        ({"coefficients": ["1"] * 7}, "curve/coefficients", "no curve of degree 1 to 5"),
        ({"range": {"from": "20", "to": "20"}}, "curve/range/to", "empty"),
        ({"unit": "mm"}, "curve/unit", ""),
    ],
)
def test_what_is_no_curve_is_refused_with_its_place(client, more, place, told):
    sent = {name: one for name, one in (CURVE | more).items() if one is not None}
    refused = recorded(client, sent)
    found = issues(refused)
    assert refused.status_code == 422
    assert told in found[f"/calibrations/0/{place}"]
    assert client.get("/v1/certificates/R-1").status_code == 404


def test_a_calibration_that_assigns_no_value_assigns_no_curve(client):
    refused = recorded(client, assigns_value=False)
    assert "assigns no value" in issues(refused)["/calibrations/0/curve"]


def test_beyond_the_range_of_its_curve_a_standard_is_not_calibrated(client):
    # The results reach from 10 to 500 kN, the curve from 20 to 200.
    recorded(client, results=[row("10"), row("500", point=2)])
    sent = cal("W-1", "WS", "02-01", [ref("REF")], [row("200"), row("201", point=2)])
    client.post("/v1/items", json={"id": "WS", "kind": "working_standard"})
    found = client.post("/v1/calibrations?dry_run=true", json=sent).get_json()["grounds"]
    assert [(one["code"], one["point"]) for one in found if one["code"] == "outside_range"] == [
        ("outside_range", "2")
    ]


def test_a_customer_sees_the_curve_of_its_own_certificate_and_of_no_other(client, keys):
    recorded(client, customer="Quillback Hire")
    own, other = (keys.headers("read", customer=name) for name in ("Quillback Hire", "Somebody"))
    assert client.get("/v1/certificates/R-1", headers=own).get_json()["curve"] == CURVE
    assert client.get(f"{ADDRESS}?deflection=1.2", headers=own).get_json()["force"] == "119.86"
    assert client.get(ADDRESS, headers=other).status_code == 404


def test_a_corrected_revision_keeps_the_curve_and_says_so(client):
    made = lab(
        cal("T-1", "TOP", "01-02", [], external=True),
        cal("R-1", "REF", "01-10", [ref("TOP")], [row("100")], curve=CURVE),
    )
    assert client.post("/v1/imports", json=made).status_code == 201
    fault = {"item": "TOP", "kind": "true_force_relative_error", "delta_rel": "0.001"} | OPEN
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
    body = {"by": "Robin Manager", "certificates": [{"certificate": "R-1"}]}
    assert client.post("/v1/recalls/1/revisions", json=body).status_code == 201
    draft = client.get("/v1/certificates/R-1?revision=1").get_json()
    assert draft["curve"] == CURVE
    assert draft["amendment"].endswith("The curve is the one assigned before.")


def test_a_store_with_a_curve_whose_range_is_not_that_of_its_results_is_whole(client, database):
    assert recorded(client, results=[row("100")]).status_code == 201
    with database.read() as session:
        assert verify(session).findings == []
    with database.write() as session:
        session.execute(sa.update(Certificate).values(span_to="1"))
        (one,) = verify(session).findings
        session.rollback()
    assert one.detail == "its calibrated range is not that of its curve"
