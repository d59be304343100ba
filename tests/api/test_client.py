"""The client against a live server, and against a scripted one that fails on purpose."""

from __future__ import annotations

import email.utils
import json
import time
from collections.abc import Iterator
from decimal import Decimal
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest

from api.client import (
    LISTS,
    Client,
    Conflict,
    Forbidden,
    InvalidRequest,
    NotFound,
    ServerError,
    Stale,
    Unauthorized,
    Unreachable,
    wire,
)
from api.commands.embedded import serving

ITEM = {"id": "REF-1", "kind": "reference_standard", "type": "load_cell", "capacity": "50 kN"}
POINT = {"point": 1, "unit": "kN", "applied": "10.0", "U": "0.004", "error": "0.002"}
JUDGED = {**POINT, "tolerance": "0.010", "rule": "simple"}
ROOT = {
    "certificate": "NMI/24-7",
    "issuer": "Institute",
    "external": True,
    "item": "REF-1",
    "performed_at": "2024-01-10T08:00:00Z",
    "issued_at": "2024-01-12T08:00:00Z",
    "results": [POINT],
}
OURS = {
    "certificate": "C-1",
    "item": "DUT-1",
    "customer": "Lift Co",
    "performed_at": "2024-03-10T08:00:00Z",
    "issued_at": "2024-03-11T08:00:00Z",
    "uses": [{"item": "REF-1", "role": "force_reference"}],
    "results": [JUDGED],
}
LABORATORY = {
    "items": [ITEM, {"id": "DUT-1", "kind": "customer_instrument", "type": "tension_link"}],
    "calibrations": [ROOT, OURS],
}
FAULT = {
    "item": "REF-1",
    "kind": "true_force_relative_error",
    "delta_rel": Decimal("-0.0010"),
    "last_good_at": "2024-02-01T08:00:00Z",
    "isolated_at": "2024-06-01T08:00:00Z",
}
DECISION = {"unit": "kN", "rule": "guard_U", "U": "0.003", "lower": "9.990", "upper": "10.010"}


@pytest.fixture
def lab(server, keys) -> Iterator[Client]:
    """Client with every scope."""
    with Client(server, keys.token()) as client:
        yield client


@pytest.fixture
def filled(lab) -> Client:
    """Client of a server that knows the small laboratory above."""
    lab.import_laboratory(LABORATORY)
    return lab


@pytest.fixture
def quick(monkeypatch):
    """Let the client wait for milliseconds only."""
    monkeypatch.setattr(wire, "_FIRST_WAIT_S", 0.001)


def test_a_laboratory_is_imported_once_from_an_object_bytes_or_a_file(lab, tmp_path):
    file = tmp_path / "laboratory.json"
    file.write_text(json.dumps(LABORATORY))
    assert lab.import_laboratory(LABORATORY, dry_run=True)["created"]["items"] == 2
    assert lab.import_laboratory(file)["created"]["items"] == 2
    assert lab.import_laboratory(LABORATORY)["unchanged"]["calibrations"] == 2
    assert lab.import_laboratory(file.read_bytes())["unchanged"]["items"] == 2


def test_lists_are_iterated_page_by_page(lab, monkeypatch):
    monkeypatch.setattr(wire, "_PAGE", 2)
    for number in range(5):
        lab.record_item({**ITEM, "id": f"X-{number}"})
    assert [item["id"] for item in lab.items()] == [f"X-{number}" for number in range(5)]
    assert list(lab.items(kind="software")) == []


def test_every_kind_of_record_is_sent_and_listed(filled):
    filled.record_composition({"assembly": "DUT-1", "part": "REF-1", "from": "2024-01-01"})
    check = {"id": "K-1", "item": "REF-1", "at": "2024-05-01T08:00:00Z", "result": "fail"}
    filled.record_check(check)
    filled.record_customer({"name": "Crane Co", "email": "crane@example.org"})
    filled.record_rule({"id": "half", "guard": {"basis": "U", "factor": Decimal("0.50")}})
    filled.record_specification({"id": "plate", "unit": "kN", "tolerance": "0.010"})
    assert [one["part"] for one in filled.compositions(assembly="DUT-1")] == ["REF-1"]
    assert [one["id"] for one in filled.checks(item="REF-1")] == ["K-1"]
    assert "Crane Co" in [one["name"] for one in filled.customers()]
    assert {one["id"]: one["guard"] for one in filled.decision_rules()}["half"]["factor"] == "0.50"
    assert [one["id"] for one in filled.specifications()] == ["plate"]
    assert [one["certificate"] for one in filled.certificates(item="DUT-1")] == ["C-1"]
    sent = {"id": "AG/1", "customer": "Crane Co", "rule": "half", "from": "2024-01-01", "by": "R"}
    assert filled.record_agreement(sent)["version"] == 1
    assert filled.agreement("AG/1", version=1)["rule"] == {"id": "half", "version": 1}
    assert [one["id"] for one in filled.agreements(customer="Crane Co")] == ["AG/1"]


def test_a_set_up_is_checked_and_the_load_cycles_of_its_parts_are_read(filled):
    applies_to = {"type": "tension_link"}
    requirement = {"id": "R", "applies_to": applies_to, "pin": {"diameter": "2 in"}, "source": "x"}
    filled.record_requirement(requirement)
    assert [one["id"] for one in filled.requirements(best_for="DUT-1")] == ["R"]
    pin = {"id": "PIN/1", "kind": "adapter_part", "type": "pin", "design_life_cycles": 100}
    filled.record_item(pin | {"properties": {"pin_diameter": "50 mm"}})
    event = {"id": "E-1", "item": "PIN/1", "at": "2024-05-01", "kind": "overload"}
    filled.record_load_event(event | {"person": "Robin", "applications": 95})
    assert [one["kind"] for one in filled.load_events(item="PIN/1")] == ["overload"]
    made = filled.check_setup({"instrument": "DUT-1", "fittings": [{"item": "PIN/1"}]})
    assert filled.setup_check(made["id"])["findings"] == made["findings"]
    assert [one["id"] for one in filled.setup_checks(outcome="differs")] == [made["id"]]
    assert filled.cycles("PIN/1", rate_days="10")["share"] == "0.95"
    assert [one["item"] for one in filled.near_life(Decimal("0.90"))] == ["PIN/1"]


def test_a_certificate_whose_number_has_a_slash_is_found(filled):
    found = filled.certificate("NMI/24-7", issuer="Institute", revision=0)
    assert (found["certificate"], found["item"]) == ("NMI/24-7", "REF-1")
    assert filled.chain("NMI/24-7")["roots"][0]["issuer"] == "Institute"


def test_a_chain_ends_at_the_external_certificate(filled):
    chain = filled.chain("C-1")
    assert (chain["unbroken"], chain["roots"][0]["certificate"]) == (True, "NMI/24-7")


def test_a_curve_gives_the_force_for_a_deflection_and_back(filled):
    curve = {"of": "force", "coefficients": ["0", "100"], "unit": "kN"}
    curve["range"] = {"from": "10", "to": "200"}
    sent = {"certificate": "CV/1", "item": "REF-1", "performed_at": "2024-02-01", "external": True}
    filled.record_calibration(sent | {"issuer": "Institute", "curve": curve})
    # F = 100 d: 1.25 is 125 kN
    assert filled.curve("CV/1", "Institute", deflection="1.25")["force"] == "125"
    asked = filled.curve("CV/1", "Institute", 0, force="125000", unit="N")
    assert asked["deflection"] == "1.25"


def test_what_speaks_against_a_certificate_is_asked_before_and_after(filled):
    use = {"item": "NOVALUE", "role": "force_reference"}
    bare = {**OURS, "certificate": "C-9", "uses": [use]}
    filled.import_laboratory({"items": [{"id": "NOVALUE", "kind": "working_standard"}]})
    assert [one["code"] for one in filled.try_calibration(bare)["grounds"]] == ["no_value"]
    with pytest.raises(wire.ApiError) as refused:
        filled.record_calibration({**bare, "issued_at": "2099-01-02"})
    assert refused.value.status == 409
    draft = {name: one for name, one in bare.items() if name != "issued_at"}
    filled.record_calibration({**draft, "status": "draft"})
    override = {"by": "Robin Manager", "reason": "the customer knows"}
    assert filled.issue("C-9", "2099-01-02", override=override)["status"] == "issued"
    kept = filled.grounds("C-9")
    assert [one["code"] for one in kept["grounds"]] == ["no_value"]
    assert kept["override"] == override


def test_a_certificate_is_measured_in_one_flow_and_says_the_rest_at_its_issue(filled):
    items = [{"id": "CLV", "kind": "adapter"}, {"id": "TL-1", "kind": "customer_instrument"}]
    filled.import_laboratory({"items": items})
    set_up = {"instrument": "TL-1", "references": [{"item": "REF-1"}]}
    set_up["fittings"] = [{"item": "CLV"}]
    check = filled.check_setup(set_up | {"at": "2024-03-10T07:00:00Z"})
    reading = {"applied": Decimal("10.0"), "indicated": Decimal("10.02")}
    runs = {"set_up_check": check["id"], "force_unit": "kN", "indication_unit": "kN"}
    runs |= {"series": [{"rotation_deg": 0, "zero_before": 0, "ascending": [reading]}]}
    run = filled.evaluate_runs(runs | {"performed_at": "2024-03-10T08:00:00Z"})
    assert filled.run_evaluation(run["id"])["item"] == "TL-1"
    budget = {"id": "UB/1", "run_evaluation": run["id"]}
    made = filled.evaluate_budget(budget)
    assert filled.budget("UB/1")["points"] == made["points"]
    sent = {"certificate": "F-1", "item": "TL-1", "status": "draft", "budget": "UB/1"}
    draft = filled.record_calibration(sent)
    assert (draft["results"][0]["error"], len(draft["uses"])) == ("0.02", 2)
    issued = filled.issue("F-1", "2024-03-11", place="Hall 2", authorised_by="R. Fenn")
    assert (issued["place"], issued["authorised_by"]) == ("Hall 2", "R. Fenn")


def test_certificates_are_drafted_issued_revised_and_voided(filled):
    draft = {**OURS, "certificate": "C-2", "status": "draft"}
    del draft["issued_at"]
    assert filled.record_calibration(draft)["status"] == "draft"
    assert filled.issue("C-2", "2024-04-01T08:00:00Z")["status"] == "issued"
    revision = {**OURS, "certificate": "C-2", "revision": 1, "amendment": "capacity corrected"}
    assert filled.record_revision("C-2", revision)["revision"] == 1
    assert filled.certificate("C-2", revision=0)["status"] == "superseded"
    assert filled.void("C-2", "wrong serial number")["status"] == "voided"


def test_records_are_corrected_with_a_name_and_a_reason(filled):
    said = {"by": "M. Tarn", "reason": "the log says otherwise"}
    for code in ("PIN-A", "PIN-B", "CLEVIS"):
        filled.record_item({"id": code, "kind": "adapter_part"})
    made = filled.record_composition({"assembly": "CLEVIS", "part": "PIN-A", "from": "2024-01-01"})
    right = filled.correct_composition(made["id"], **said, from_="2024-01-02", until="2024-02-01")
    assert (right["from"], right["corrections"][0]["before"]["from"]) == (
        "2024-01-02",
        "2024-01-01",
    )
    filled.record_check({"id": "K/1", "item": "REF-1", "at": "2024-01-05", "result": "pass"})
    assert filled.correct_check("K/1", **said, withdrawn=True)["withdrawn"] is True
    added = filled.add_use("C-1", {"item": "PIN-A", "role": "adapter"}, **said)
    assert added["uses"][-1]["item"] == "PIN-A"
    removed = filled.correct_use("C-1", len(added["uses"]) - 1, None, **said)
    assert removed["use_corrections"][-1]["after"] is None
    swapped = filled.swap_identities(("PIN-A", "PIN-B"), "2024-01-01", "2024-03-01", **said)
    assert swapped["moved"]["compositions"] == 1
    assert filled.void("C-1", "withdrawn", voided_at="2024-12-31")["voided_at"] == "2024-12-31"


def test_a_record_is_changed_only_in_the_version_that_was_read(filled):
    read = filled.item("REF-1")
    assert filled.change_item(read, owner="laboratory")["owner"] == "laboratory"
    with pytest.raises(Stale) as stale:
        filled.change_item(read, owner="someone")
    assert (stale.value.status, stale.value.type) == (412, "stale-version")


def test_a_record_from_a_list_has_no_version_to_change(filled):
    with pytest.raises(TypeError, match="ETag"):
        filled.change_item(next(filled.items()), owner="someone")


def test_a_decision_keeps_the_digits_that_were_sent(lab):
    made = lab.decide(Decimal("10.00200"), **DECISION)
    assert (made["value"], made["verdict"]) == ("10.00200", "pass")
    assert lab.decision(made["id"])["request"]["value"] == "10.00200"
    assert [one["id"] for one in lab.decisions(verdict="pass")] == [made["id"]]


def test_a_probability_is_read_from_its_own_digits(lab):
    assert isinstance(lab.decide("10.002", **DECISION)["conformance_probability"], Decimal)


def test_an_unstored_decision_has_no_id(lab):
    sent = {"unit": "kN", "rule": {"guard": {"basis": "none"}}, "U": "0.01", "k": 2}
    made = lab.decide("10.2", nominal="10", tolerance="0.1", store=False, **sent)
    assert (made["id"], made["verdict"], list(lab.decisions())) == (None, "fail", [])


@pytest.mark.parametrize(
    ("sent", "place"),
    [({"value": 10.1}, "/value"), ({"value": "1", "prior": {"mean": 0.5, "sd": 1}}, "/prior/mean")],
)
def test_a_float_is_refused_before_anything_is_sent(sent, place):
    with pytest.raises(TypeError, match=f"^{place} is a float"):
        Client("http://127.0.0.1:1", retries=0).decide(**sent, **DECISION)


def test_a_batch_gives_the_same_verdicts_as_objects_and_as_csv(lab, tmp_path):
    rows = [
        {"id": "007", "value": Decimal("10.007"), "U": "0.003", "unit": "kN", "upper": "10.010"},
        {"id": "8", "value": "10.0071", "U": "0.003", "unit": "kN", "upper": "10.010"},
        {"id": "9", "value": "much", "U": "0.003", "unit": "kN", "upper": "10.010"},
    ]
    csv = ",".join(rows[0]) + "\n" + "".join(",".join(map(str, r.values())) + "\n" for r in rows)
    file = tmp_path / "results.csv"
    file.write_text(csv)
    answers = [
        lab.batch(rows, rule="guard_U"),
        lab.batch(csv=csv, rule="guard_U"),
        lab.batch(csv=file, rule="guard_U"),
    ]
    for answer in answers:
        assert [row["id"] for row in answer["rows"]] == ["007", "8", "9"]
        assert [row["verdict"] for row in answer["rows"]] == ["pass", "fail", None]
        assert answer["rows"][2]["error_field"] == "value"
        assert answer["summary"]["refused"] == 1


def test_a_batch_takes_either_rows_or_csv():
    client = Client("http://127.0.0.1:1", retries=0)
    with pytest.raises(TypeError, match="rows or csv"):
        client.batch()
    with pytest.raises(TypeError, match="by its id"):
        client.batch(csv="value\n1\n", rule={"guard": {"basis": "none"}})


def test_a_fault_is_reported_shown_again_and_listed(filled):
    preview = filled.report_fault(FAULT, preview=True)
    assert list(filled.recalls()) == []
    made = filled.report_fault(FAULT)
    assert made["result_hash"] == preview["result_hash"]
    assert made["affected"][0]["points"][0]["corrected_error"] == "0.012"
    assert filled.recall(made["id"]) == made
    for name in LISTS:
        assert list(filled.recall_entries(made["id"], name)) == made[name]
    again = filled.report_fault([FAULT], previous=made["id"])
    assert [one["previous"] for one in filled.recalls()] == [made["id"], None]
    assert again["faults"] == made["faults"]
    assert {one["number"] for one in filled.certificate("C-1")["recalls"]} >= {made["number"]}


def test_a_key_with_spaces_around_it_works(server, keys):
    with Client(server + "/", f" {keys.token('read')}\n") as client:
        assert list(client.items()) == []


def test_address_and_key_come_from_the_environment(server, keys, monkeypatch):
    monkeypatch.setenv("TRACEHOLD_URL", server)
    monkeypatch.setenv("TRACEHOLD_API_KEY", keys.token("read"))
    with Client() as client:
        assert list(client.recalls()) == []


def test_without_a_valid_key_nobody_is_served(server):
    with Client(server, "th_0_x") as client, pytest.raises(Unauthorized) as refused:
        list(client.items())
    assert (refused.value.status, refused.value.transient) == (401, False)


def test_a_key_that_no_header_can_carry_is_refused_without_being_repeated():
    with pytest.raises(Unauthorized) as refused:
        Client("http://127.0.0.1:1", "th_secret\nX: y")
    assert "secret" not in str(refused.value)


def test_a_key_without_the_scope_is_forbidden(server, keys):
    with Client(server, keys.token("read")) as client, pytest.raises(Forbidden) as refused:
        client.record_item(ITEM)
    assert refused.value.type == "missing-scope"


def test_what_is_not_there_is_not_found(lab):
    with pytest.raises(NotFound) as refused:
        lab.certificate("C-404")
    assert refused.value.request_id


def test_the_same_identity_with_other_content_is_a_conflict(filled):
    with pytest.raises(Conflict):
        filled.record_item({**ITEM, "capacity": "60 kN"})


def test_a_refusal_says_where_what_and_how_to_mend_it(lab):
    with pytest.raises(InvalidRequest) as refused:
        lab.import_laboratory({"items": [{**ITEM, "colour": "red"}]})
    error = refused.value
    assert (error.status, error.type) == (422, "invalid-request")
    assert error.errors[0].pointer == "/items/0/colour"
    assert (error.errors[0].detail, error.errors[0].value) == ("unknown field", "red")
    assert "capacity" in error.errors[0].remedy


def test_a_server_that_is_not_there_is_unreachable(quick):
    with Client("http://127.0.0.1:9", retries=1) as client, pytest.raises(Unreachable) as refused:
        client.recall(1)
    assert (refused.value.status, refused.value.transient) == (0, True)


@pytest.mark.parametrize("url", ["nowhere", "ftp://127.0.0.1", "http://["])
def test_an_impossible_address_is_unreachable_at_once(url):
    with Client(url) as client, pytest.raises(Unreachable, match="cannot be asked") as refused:
        client.recall(1)
    assert not refused.value.transient


class Scripted(BaseHTTPRequestHandler):
    """Answers by the script of its server: (status, headers, body), or None to hang up."""

    protocol_version = "HTTP/1.1"

    def _answer(self):
        self.server.seen.append((self.command, self.path, dict(self.headers)))
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        script = self.server.script
        step = script.pop(0) if len(script) > 1 else script[0]
        self.close_connection = True
        if step is None:
            return
        status, headers, body = step
        self.send_response(status)
        for name, value in {"Content-Length": str(len(body)), **headers}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body.encode())

    do_GET = do_POST = do_PATCH = _answer  # the names that the base class calls

    def log_message(self, *args):
        """Keep quiet."""


@pytest.fixture
def scripted(quick):
    """Server that follows a script; its last step is repeated. ``seen`` holds the requests."""
    made = ThreadingHTTPServer(("127.0.0.1", 0), Scripted)
    made.seen, made.script = [], [(200, {}, "{}")]
    thread = Thread(target=made.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    made.client = Client(f"http://127.0.0.1:{made.server_port}", "th_1_x", timeout=5)
    yield made
    made.client.close()
    made.shutdown()
    thread.join()
    made.server_close()


RUNNING = json.dumps({"type": "/problems/request-running", "detail": "still running"})


@pytest.mark.parametrize(
    "failure",
    [
        None,
        (429, {"Retry-After": "0"}, ""),
        (502, {}, "<html>bad gateway</html>"),
        (503, {"Retry-After": "0"}, "{}"),
        (504, {}, ""),
        (409, {"Retry-After": "0"}, RUNNING),
        (201, {"Content-Length": "100"}, "{"),
    ],
    ids=["hung up", "429", "502", "503", "504", "still running", "cut off"],
)
def test_a_post_is_repeated_with_the_same_key_after_a_passing_failure(scripted, failure):
    scripted.script = [failure, failure, (201, {}, '{"id": "REF-1"}')]
    assert scripted.client.record_item(ITEM) == {"id": "REF-1"}
    assert len({headers["Idempotency-Key"] for _, _, headers in scripted.seen}) == 1
    assert len(scripted.seen) == 3


def test_each_new_post_has_a_key_of_its_own(scripted):
    scripted.client.record_item(ITEM)
    scripted.client.record_item(ITEM)
    assert len({headers["Idempotency-Key"] for _, _, headers in scripted.seen}) == 2


def test_repeats_end(scripted):
    scripted.script = [(502, {}, "")]
    with pytest.raises(ServerError, match="502") as refused:
        scripted.client.recall(1)
    assert (len(scripted.seen), refused.value.transient) == (5, True)


@pytest.mark.parametrize("status", [400, 404, 409, 422, 500])
def test_a_lasting_failure_is_not_repeated(scripted, status):
    scripted.script = [(status, {}, "no JSON")]
    with pytest.raises(wire.ApiError) as refused:
        scripted.client.record_item(ITEM)
    assert (len(scripted.seen), refused.value.status) == (1, status)


def test_a_wait_that_is_too_long_is_left_to_the_caller(scripted):
    scripted.script = [(503, {"Retry-After": "3600"}, "")]
    with pytest.raises(ServerError) as refused:
        scripted.client.recall(1)
    assert (len(scripted.seen), refused.value.retry_after) == (1, "3600")


def test_a_change_is_not_repeated(scripted):
    scripted.script = [None]
    with pytest.raises(Unreachable):
        scripted.client.change_item(wire.Answer({"id": "X"}, '"tag"'), owner="me")
    assert [headers["If-Match"] for _, _, headers in scripted.seen] == ['"tag"']


def test_a_redirect_is_reported_with_its_target(scripted):
    scripted.script = [(301, {"Location": "https://lab.example/"}, "")]
    with pytest.raises(Unreachable, match=r"https://lab\.example/"):
        scripted.client.record_item(ITEM)
    assert len(scripted.seen) == 1


@pytest.mark.parametrize("body", ["<html>a page</html>", "[]", ""])
def test_an_answer_of_something_else_is_told_apart(scripted, body):
    scripted.script = [(200, {}, body)]
    with pytest.raises(Unreachable, match="is it Tracehold"):
        scripted.client.recall(1)


def test_the_next_page_is_never_on_another_server(scripted):
    page = {"items": [], "next": "@elsewhere.example/v1/items"}
    scripted.script = [(200, {}, json.dumps(page))]
    with pytest.raises(Unreachable, match="not on this server"):
        list(scripted.client.items())
    assert len(scripted.seen) == 1


def test_a_problem_with_odd_content_is_still_an_error(scripted):
    scripted.script = [(422, {}, '{"detail": "no", "errors": ["odd", {"detail": "x"}]}')]
    with pytest.raises(InvalidRequest) as refused:
        scripted.client.record_item(ITEM)
    assert [one.detail for one in refused.value.errors] == ["x"]


def test_a_date_in_retry_after_is_understood():
    later = email.utils.formatdate(time.time() + 20, usegmt=True)
    assert 18 < wire._wait(0, later) < 21
    assert 0 <= wire._wait(0, email.utils.formatdate(time.time() - 20, usegmt=True)) < 1
    assert 0 <= wire._wait(0, "soon") < 1


def test_an_answer_lost_on_the_way_leaves_one_record(own_app, keys, quick):
    inner, lost = own_app.wsgi_app, []

    def losing(environ, start_response):
        body = b"".join(inner(environ, start_response))
        if environ["REQUEST_METHOD"] == "POST" and not lost:
            lost.append(environ["HTTP_IDEMPOTENCY_KEY"])
            return [body[:10]]
        return [body]

    own_app.wsgi_app = losing
    with serving(own_app) as url, Client(url, keys.token()) as client:
        made = client.decide("10.002", **DECISION)
        assert len(lost) == 1
        assert [one["id"] for one in client.decisions()] == [made["id"]]


def test_the_demonstration_laboratory_goes_in_as_it_stands(lab):
    file = Path(__file__).parents[2] / "fixtures" / "demo_lab" / "laboratory.json"
    sent = json.loads(file.read_bytes(), parse_float=Decimal)
    assert lab.import_laboratory(file)["created"]["calibrations"] == len(sent["calibrations"])
    assert set(lab.import_laboratory(sent)["created"].values()) == {0}


def test_alerts_are_listed_read_and_answered(filled):
    failed = [
        {"id": f"K-{n}", "item": "REF-1", "at": f"2024-04-0{n}", "result": "fail"} for n in (1, 2)
    ]
    for one in failed:
        filled.record_check(one)
    assert [one["says"] for one in filled.alerts(state="open", item="REF-1")] == [
        "REF-1 failed check K-1",
        "REF-1 failed check K-2",
    ]
    first = next(filled.alerts())["id"]
    assert filled.alert(first)["draft"]["fault"]["item"] == "REF-1"
    assert filled.alert_reach(first)["summary"]["indeterminate"] == 1  # C-1 used it before
    answered = filled.answer_alert(first, "M. Tarn", reason="the reading was mistyped")
    assert answered["state"] == "answered"
    done = filled.answer_alerts({"kind": "check"}, 1, "M. Tarn", reason="the same")
    assert done["answered"] == 1
