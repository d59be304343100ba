"""The story of a year over HTTP: from the order to the closing of a recall, nothing typed twice.

Invented. A working standard is calibrated in January, a tension link with it in March; in June the
standard is found reading 0.25 % high. What was measured is sent once: the runs. Forces, means, U,
k, degrees of freedom, references and adapters are taken from there. The failed as-found raises an
alert, which holds the fault ready and is answered by its recall; the corrected revision comes from
the recall. `Desk` refuses a number with a decimal point that was sent before. The arithmetic stands
beside each check.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest

from api.services.feed.deliveries import deliver, sender
from tests.api.pages.conftest import Visitor
from tests.receiver import Receiver

Json = Any
CUSTOMER = "Corvane Offshore"


def numbers(value: Json) -> Iterator[str]:
    """Every number with a decimal point in what is sent."""
    if isinstance(value, dict):
        for one in value.values():
            yield from numbers(one)
    elif isinstance(value, list):
        for one in value:
            yield from numbers(one)
    elif isinstance(value, str) and re.fullmatch(r"-?\d+\.\d+", value):
        yield value


class Desk:
    """Sends what a person types, and refuses a number that was typed before."""

    def __init__(self, client: Json) -> None:
        self.client = client
        self.typed: set[str] = set()

    def types(self, path: str, body: Json, status: int = 201) -> Json:
        """Send what was typed."""
        new = set(numbers(body))
        assert not new & self.typed, f"typed twice: {new & self.typed}"
        self.typed |= new
        return self.passes(path, body, status)

    def passes(self, path: str, body: Json, status: int = 201) -> Json:
        """Send what came out of an answer."""
        answer = self.client.post(f"/v1/{path}", json=body)
        assert answer.status_code == status, answer.text
        return json.loads(answer.text)

    def changes(self, path: str, body: Json) -> Json:
        """Change something, as it was just read."""
        tag = self.client.get(f"/v1/{path}").headers["ETag"]
        answer = self.client.patch(f"/v1/{path}", json=body, headers={"If-Match": tag})
        assert answer.status_code == 200, answer.text
        return answer.get_json()

    def reads(self, path: str) -> Json:
        return json.loads(self.client.get(f"/v1/{path}").text)


ITEMS = [
    {"id": "REF", "kind": "reference_standard", "type": "load_cell", "capacity": "300 kN"},
    {"id": "WS", "kind": "working_standard", "type": "load_cell", "capacity": "200 kN"},
    {"id": "TL-1", "kind": "customer_instrument", "type": "tension_link", "capacity": "100 kN",
     "owner": CUSTOMER},
    *({"id": f"CLV-{n}", "kind": "adapter", "type": "clevis", "capacity": "250 kN"} for n in "12"),
]  # fmt: skip
# U is 0.010 % of the force at both ends.
NATIONAL = {
    "certificate": "NI-1", "issuer": "National Institute", "external": True, "item": "REF",
    "performed_at": "2024-11-05T10:00:00Z", "due_at": "2026-11-05", "mode": "tension",
    "results": [
        {"point": 1, "unit": "kN", "applied": "8.0", "error": "0", "U": "0.0008", "k": "2"},
        {"point": 2, "unit": "kN", "applied": "250.0", "error": "0", "U": "0.025", "k": "2"},
    ],
}  # fmt: skip
FITTED = [{"item": "CLV-1", "position": "top"}, {"item": "CLV-2", "position": "bottom"}]


def series(rotation: int, readings: dict[str, str]) -> Json:
    ascending = [{"applied": force, "indicated": one} for force, one in readings.items()]
    return {"rotation_deg": str(rotation), "zero_before": "0", "ascending": ascending}


def runs(desk: Desk, check: Json, at: str, *readings: dict[str, str]) -> Json:
    """Type the readings of three rotations made in a checked set-up."""
    body = {"set_up_check": check["id"], "mode": "tension", "performed_at": at, "degree": 1}
    body |= {"force_unit": "kN", "indication_unit": "kN"}
    body["series"] = [series(120 * n, one) for n, one in enumerate(readings)]
    return desk.types("run-evaluations", body)


def set_up(desk: Desk, instrument: str, reference: str, at: str) -> Json:
    body = {"instrument": instrument, "references": [{"item": reference}], "fittings": FITTED}
    check = desk.types("setup-checks", body | {"at": at, "planned_points": ["100 kN"]})
    assert "Force rigs injure people." in check["cautions"]
    return check


def budget(desk: Desk, run: Json, drift: str, title: str) -> Json:
    """Type what the runs do not know: the drift of the reference since its calibration."""
    drifted = {"name": "drift", "distribution": "rectangular", "half_width": drift}
    body = {"run_evaluation": run["id"], "components": [drifted | {"relative": True}]}
    return desk.types("uncertainty-budgets", body | {"title": title})


def received(desk: Desk) -> None:
    """The laboratory is set up, the order comes in, and rule and specification are agreed."""
    desk.types("imports", {"items": ITEMS, "calibrations": [NATIONAL]})
    desk.types("persons", {"id": "fenn", "name": "R. Fenn", "office": "head of laboratory"})
    asked = ["place", "conditions", "received_at", "order", "performed_by", "authorised_by"]
    about = {"name": "Meridian Force", "contact": "A. Quill", "asked_at_issue": asked}
    desk.changes("laboratory", about)
    desk.types("customers", {"name": CUSTOMER})
    terms = [{"kind": "percent_of_nominal", "value": "0.25"}]
    desk.types("specifications", {"id": "LINK", "tolerance": {"terms": terms}})
    agreed = {"id": "A-1", "customer": CUSTOMER, "type": "tension_link", "by": "A. Quill"}
    agreed |= {"rule": {"id": "guard_U", "version": 1}, "from": "2025-01-01"}
    desk.types("agreements", agreed | {"specification": {"id": "LINK", "version": 1}})
    terms = [{"kind": "percent_of_nominal", "value": "0.10"}]
    desk.types("specifications", {"id": "STANDARD", "tolerance": {"terms": terms}})


ABOUT = {"place": "Hall 2", "conditions": "20 °C to 21 °C", "performed_by": "S. Holm"}


def standard_calibrated(desk: Desk) -> Json:
    """January: the working standard against the reference; every error is 0."""
    check = set_up(desk, "WS", "REF", "2025-01-20T08:00:00Z")
    readings = (
        {"8.00": "8.001", "60.00": "60.002", "100.00": "100.003"},
        {"8.00": "7.999", "60.00": "59.998", "100.00": "99.997"},
        {"8.00": "8.000", "60.00": "60.000", "100.00": "100.000"},
    )
    run = runs(desk, check, "2025-01-20T09:00:00Z", *readings)
    assert run["reference"]["U_rel_pct"] == "0.01"
    made = {"certificate": "W-1", "item": "WS", "due_at": "2025-12-31"} | ABOUT
    made |= {"received_at": "2025-01-19", "order": "own", "authorised_by": "fenn"}
    made["budget"] = budget(desk, run, "0.012", "working standards")["id"]
    return desk.types("calibrations", made | {"issued_at": "2025-01-21T10:00:00Z"})


def link_measured(desk: Desk, number: str, day: str, order: str, *readings: dict[str, str]) -> Json:
    """A draft for the customer's link: set-up, runs, budget; the verdicts are decided."""
    check = set_up(desk, "TL-1", "WS", f"{day}T08:00:00Z")
    run = runs(desk, check, f"{day}T09:00:00Z", *readings)
    drift = "0.021" if number == "K-1" else "0.022"
    made = {"certificate": number, "item": "TL-1", "customer": CUSTOMER, "order": order} | ABOUT
    made |= {"status": "draft", "received_at": day}
    made["budget"] = budget(desk, run, drift, f"links, {number}")["id"]
    return desk.types("calibrations", made)


MARCH = (
    {"10.00": "10.011", "50.00": "50.041", "90.00": "90.081"},
    {"10.00": "10.009", "50.00": "50.039", "90.00": "90.079"},
    {"10.00": "10.010", "50.00": "50.040", "90.00": "90.080"},
)
MAY = (
    {"11.00": "11.012", "51.00": "51.042", "91.00": "91.082"},
    {"11.00": "11.010", "51.00": "51.038", "91.00": "91.078"},
    {"11.00": "11.011", "51.00": "51.044", "91.00": "91.083"},
)


def standard_failed(desk: Desk) -> Json:
    """June: the standard reads 0.25 % high as found; it is adjusted, and good as left."""
    check = set_up(desk, "WS", "REF", "2025-06-16T08:00:00Z")
    found = (
        {"9.00": "9.0235", "64.00": "64.161", "104.00": "104.261"},
        {"9.00": "9.0215", "64.00": "64.159", "104.00": "104.259"},
        {"9.00": "9.0225", "64.00": "64.160", "104.00": "104.260"},
    )
    left = (
        {"9.00": "9.001", "64.00": "64.001", "104.00": "104.001"},
        {"9.00": "8.999", "64.00": "63.999", "104.00": "103.999"},
        {"9.00": "9.000", "64.00": "64.000", "104.00": "104.000"},
    )
    runs_of = {"as_found": runs(desk, check, "2025-06-16T09:00:00Z", *found)}
    desk.typed -= {"9.00", "64.00", "104.00"}  # the same masses, read again
    runs_of["as_left"] = runs(desk, check, "2025-06-16T14:00:00Z", *left)
    drifts = {"as_found": "0.013", "as_left": "0.014"}
    budgets = {
        stage: budget(desk, run, drifts[stage], f"WS {stage}")["id"]
        for stage, run in runs_of.items()
    }
    made = {"certificate": "W-2", "item": "WS", "adjusted": True, "budget": budgets} | ABOUT
    made |= {"received_at": "2025-06-15", "order": "own", "authorised_by": "fenn"}
    limits = {"tolerance": "STANDARD", "rule": "simple"}
    made["results"] = [
        {"stage": stage, "point": point} | limits for stage in runs_of for point in (1, 2, 3)
    ]
    return desk.types("calibrations", made | {"issued_at": "2025-06-17T10:00:00Z"})


@pytest.fixture
def desk(client: Json) -> Desk:
    return Desk(client)


@pytest.fixture
def told(app, client, database) -> Iterator[Json]:
    """Register a webhook for alerts; what it was told of so far."""
    app.config["WEBHOOKS_TO_PRIVATE"] = True
    receiver = Receiver()
    hook = {"url": receiver.url, "events": ["alert.raised", "alert.answered"]}
    assert client.post("/v1/webhooks", json=hook).status_code == 201

    def changes() -> Json:
        assert all(
            one.accepted for one in deliver(database, lambda: time.time_ns() // 1000, sender(True))
        )
        return [one for _, body in receiver.got for one in json.loads(body)["changes"]]

    yield changes
    receiver.close()


@pytest.fixture
def visitor(app, keys) -> Visitor:
    made = Visitor(app)
    assert made.sign_in(keys.token()).status_code == 303
    return made


def test_a_year_in_the_life_of_a_laboratory(desk, recheck, told, visitor):
    received(desk)
    standard = standard_calibrated(desk)
    assert [one["error"] for one in standard["results"]] == ["0.000"] * 3

    # March. 0.010, 0.040 and 0.080 kN are within 0.25 % of 10, 50 and 90 kN, U kept off.
    draft = link_measured(desk, "K-1", "2025-03-03", "PO-31", *MARCH)
    assert [one["error"] for one in draft["results"]] == ["0.010", "0.040", "0.080"]
    assert draft["overall"] == {"single": "pass"}
    assert draft["agreement"] == {"id": "A-1", "version": 1}
    refused = desk.passes("certificates/K-1/issue", {"issued_at": "2025-03-04"}, 422)
    assert [one["pointer"] for one in refused["errors"]] == ["/authorised_by"]
    by = {"issued_at": "2025-03-04T10:00:00Z", "authorised_by": "fenn"}
    issued = desk.types("certificates/K-1/issue", by, 200)
    assert issued["status"] == "issued"
    assert [one["item"] for one in issued["uses"]] == ["WS", "CLV-1", "CLV-2"]
    assert issued["uses"][0]["in_force"] == {"certificate": "W-1", "revision": 0}
    chain = desk.reads("certificates/K-1/chain")
    assert chain["unbroken"]
    assert [one["certificate"] for one in chain["measured_in"]] == ["K-1", "W-1"]

    # May: measured, and left a draft. June: the standard fails as found.
    link_measured(desk, "K-2", "2025-05-12", "PO-44", *MAY)
    failed = standard_failed(desk)
    errors = {(one["stage"], one["point"]): one["error"] for one in failed["results"]}
    assert errors["as_found", 2] == "0.160"  # 0.25 % of 64 kN
    assert errors["as_left", 2] == "0.000"
    assert failed["overall"] == {"as_found": "fail", "as_left": "pass"}  # within 0.10 % of nominal

    # The fault stands in the alert: it read 0.25 % high, so true is 1/1.0025 of it.
    alert = raised(desk, told, visitor)
    fault = alert["draft"]["fault"]
    # From the last good values as left, W-1, until W-2 (of its last runs): nothing used it since.
    assert fault["last_good_at"] == "2025-01-20T09:00:00Z"
    assert fault["isolated_at"] == failed["performed_at"] == "2025-06-16T14:00:00Z"
    delta = 1 / (1 + Fraction(25, 10_000)) - 1
    for segment in fault["segments"]:
        assert float(segment["delta_rel"]) == pytest.approx(float(delta), abs=1e-12)
    recall = desk.passes("recalls", {"fault": fault})
    assert [one["certificate"] for one in recall["affected"]] == ["K-1"]
    assert recall["affected"][0]["verdict_changes"]
    assert desk.reads("certificates/K-1")["recall_state"] == "recalled"
    answered(desk, told, visitor, alert["id"], recall)

    # Stop: the draft of May rests on the same fault.
    stopped = desk.passes("certificates/K-2/issue", by | {"issued_at": "2025-06-18"}, 409)
    assert stopped["type"].endswith("doubtful-ground")
    assert "in_doubt" in {one["code"] for one in stopped["errors"]}

    handled(desk, recall["id"], fault, delta)
    calibrated_anew(desk)
    recheck()
    assert desk.reads("recalls/2")["stale"] is False
    shown = desk.reads(f"recalls/{recall['id']}/case")
    assert (shown["state"], shown["reopen"]) == ("closed", False)
    # The second look covers the failure as the first did.
    assert desk.reads("alerts?state=open")["items"] == []
    assert desk.reads(f"alerts/{alert['id']}")["state"] == "answered"


def raised(desk: Desk, told: Json, visitor: Visitor) -> Json:
    """The failure stands on the start page, in the feed and with the webhook; return its alert."""
    change = {"event": "alert.raised", "item": "WS", "state": "open"}
    (in_feed,) = desk.reads("changes?events=alert.raised")["items"]
    assert in_feed.items() >= change.items()
    assert told() == [in_feed]
    start = visitor.get("/").text
    assert "Alerts open: 1" in start
    assert f'href="/alerts/{in_feed["alert"]}"' in start
    assert "WS failed as found in certificate W-2" in start
    alert = desk.reads(f"alerts/{in_feed['alert']}")
    assert alert["good_before"]["certificate"] == "W-1"
    assert desk.reads(f"alerts/{alert['id']}/reach")["summary"]["affected"] == 1
    return alert


def answered(desk: Desk, told: Json, visitor: Visitor, alert: int, recall: Json) -> None:
    """The alert is answered by the fault that was reported from it."""
    assert desk.reads(f"alerts/{alert}")["covered_by"] == [
        {"recall": recall["id"], "recall_number": recall["number"]}
    ]
    answer = {"recall": recall["id"], "by": "A. Quill", "together": True}
    shown = desk.passes(f"alerts/{alert}/answers", answer)
    assert shown["state"] == "answered"
    assert [one["event"] for one in told()] == ["alert.raised", "alert.answered"]
    assert "Alerts open: 0" in visitor.get("/").text


def handled(desk: Desk, recall: int, fault: Json, delta: Fraction) -> None:
    """The case: corrected revision, notice, second look, closing."""
    who = {"by": "A. Quill"}
    case = f"recalls/{recall}"
    tag = desk.client.get(f"/v1/{case}/case").headers["ETag"]
    reissue = who | {"certificates": ["K-1"], "action": "reissue"}
    made = desk.client.post(f"/v1/{case}/dispositions", json=reissue, headers={"If-Match": tag})
    assert made.status_code == 201, made.text
    desk.changes(f"{case}/case", who | {"state": "assessed", "reason": "size and window known"})
    (draft,) = desk.types(f"{case}/revisions", who)["items"]
    assert (draft["certificate"], draft["revision"], draft["status"]) == ("K-1", 1, "draft")
    # error less delta x applied, each cut at 15 digits: 0.040 + 50 x 0.0024937... = 0.16468827...
    corrected = [Fraction(one["error"]) for one in draft["results"]]
    for error, was, force in zip(corrected, ("0.01", "0.04", "0.08"), (10, 50, 90), strict=True):
        assert float(error) == pytest.approx(float(Fraction(was) - delta * force), abs=1e-12)
    assert draft["overall"] == {"single": "fail"}
    for name in ("place", "conditions", "received_at", "performed_by", "order", "run_evaluation"):
        assert draft[name] == desk.reads("certificates/K-1?revision=0")[name]
    # Somebody authorises what it says now.
    address = "certificates/K-1/issue?revision=1"
    at = {"issued_at": "2025-06-20T10:00:00Z"}
    refused = desk.passes(address, at, 422)
    assert [one["pointer"] for one in refused["errors"]] == ["/authorised_by"]
    at |= {"authorised_by": "fenn"}
    # WS failed, and nothing good stands between that and March: who issues it answers for that.
    stopped = desk.passes(address, at, 409)
    assert [one["code"] for one in stopped["errors"]] == ["failed_check"]
    at |= {"override": {"by": "fenn", "reason": "corrected for what it was found wrong by"}}
    assert desk.types(address, at, 200)["status"] == "issued"
    (notice,) = desk.types(f"{case}/notices", who)["items"]
    assert notice["customer"] == CUSTOMER
    sent = who | {"how": "email", "to": "quality@corvane.example"}
    desk.types(f"{case}/notices/{notice['id']}/deliveries", sent)
    desk.types("certificates/K-2/void", {"reason": "measured with a standard that read high"}, 200)
    # The revision took the place of what was listed: a second look finds nobody else.
    assert desk.reads(f"{case}?exact=true")["stale"] is True
    again = desk.passes("recalls", {"fault": fault, "previous": recall})
    assert (again["affected"], again["indeterminate"]) == ([], [])
    assert ("K-1", 1) in {(one["certificate"], one["revision"]) for one in again["cleared"]}
    for state in ("notified", "closed"):
        desk.changes(f"{case}/case", who | {"state": state, "reason": "as agreed"})


def calibrated_anew(desk: Desk) -> None:
    """Work with the standard is let resume, and the link is calibrated anew."""
    autumn = (
        {"12.00": "12.001", "52.00": "52.001", "92.00": "92.001"},
        {"12.00": "11.999", "52.00": "51.999", "92.00": "91.999"},
        {"12.00": "12.000", "52.00": "52.000", "92.00": "92.000"},
    )
    check = set_up(desk, "TL-1", "WS", "2025-09-01T08:00:00Z")
    run = runs(desk, check, "2025-09-01T09:00:00Z", *autumn)
    made = {"certificate": "K-3", "item": "TL-1", "customer": CUSTOMER, "order": "PO-60"} | ABOUT
    made |= {"received_at": "2025-09-01", "authorised_by": "fenn"}
    made["budget"] = budget(desk, run, "0.023", "links, K-3")["id"]
    made |= {"issued_at": "2025-09-02T10:00:00Z"}
    stopped = desk.passes("calibrations", made, 409)
    assert [one["code"] for one in stopped["errors"]] == ["isolated"]
    resumed = {"by": "fenn", "reason": "adjusted, good as left by W-2"}
    tag = {"If-Match": desk.client.get("/v1/recalls/1/case").headers["ETag"]}
    answer = desk.client.post("/v1/recalls/1/resumption", json=resumed, headers=tag)
    assert answer.status_code == 200, answer.text
    # When it was used nobody had let work resume yet: who did answers for that, too.
    answers = {"override": {"by": "fenn", "reason": "adjusted before it was used"}}
    shown = desk.types("calibrations", made | answers)
    assert shown["overall"] == {"single": "pass"}
    assert shown["uses"][0]["in_force"]["certificate"] == "W-2"
