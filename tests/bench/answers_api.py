"""What is asked of the API: something of every kind is recorded, and all that is recorded read."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pyarrow as pa
from pyarrow import parquet

from tests.bench.answers_trial import Trial
from tests.fuzz.corpus import requests as fuzzed

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DEMO = FIXTURES / "demo_lab"
STORY = json.loads((DEMO / "story.json").read_bytes())
CUSTOMER = "Quillback Hire"
LISTS = (
    *("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled"),
    *("cleared", "cannot_be_excluded"),
)
PARQUET, ARROW = "application/vnd.apache.parquet", "application/vnd.apache.arrow.stream"
# Lists with the field that names what is in them, and the place in an address that it fills.
NAMED = {
    "item_id": ("/v1/items", "id"),
    "composition_id": ("/v1/compositions", "id"),
    "number": ("/v1/certificates", "certificate"),
    "check_id": ("/v1/checks", "id"),
    "customer_id": ("/v1/customers", "id"),
    "recall_id": ("/v1/recalls", "id"),
    "notice_id": ("/v1/recalls/{recall_id}/notices", "id"),
    "webhook_id": ("/v1/webhooks", "id"),
    "decision_id": ("/v1/decisions", "id"),
    "rule_id": ("/v1/decision-rules", "id"),
    "specification_id": ("/v1/specifications", "id"),
    "agreement_id": ("/v1/agreements", "id"),
    "requirement_id": ("/v1/requirements", "id"),
    "setup_check_id": ("/v1/setup-checks", "id"),
    "event_id": ("/v1/load-events", "id"),
    "evaluation_id": ("/v1/run-evaluations", "id"),
    "table_id": ("/v1/class-tables", "id"),
    "budget_id": ("/v1/uncertainty-budgets", "id"),
    "cmc_id": ("/v1/cmcs", "id"),
    "comparison_id": ("/v1/setup-comparisons", "id"),
    "key_id": ("/v1/keys", "id"),
    "person_id": ("/v1/persons", "id"),
}
RULE = "/v1/decision-rules/guard_U"
QUERIES = (
    "/v1/items?kind=adapter&limit=3",
    "/v1/items?type=tension_link",
    f"/v1/items?owner={quote(CUSTOMER)}",
    "/v1/compositions?assembly=ADP-22",
    "/v1/compositions?part=PIN-22A",
    "/v1/calibrations?item=REF-500A&limit=2",
    f"/v1/certificates?customer={quote(CUSTOMER)}&limit=5",
    "/v1/certificates?status=voided",
    "/v1/certificates/MV-25-0075?revision=0",
    "/v1/certificates/OIF/23-0219?issuer=Institute%20of%20Force%20Ostravia",
    "/v1/checks?item=REF-500A",
    "/v1/items/REF-500A/interval-advice?at=2026-01-01",
    "/v1/items/REF-500A/interval-advice?method=staircase&step_up=0.2&present_interval_days=365",
    "/v1/items/TL-01/interval-advice?target_reliability=0.9&tolerance_rel_pct=0.1",
    "/v1/items/PIN-21A/cycles?at=2025-06-01&rate_days=90&m=3",
    "/v1/cycles?share_from=0&at=2025-06-01&limit=4",
    "/v1/decisions?verdict=pass",
    "/v1/requirements?best_for=TL-01",
    "/v1/requirements?type=tension_link",
    "/v1/requirements?item=TL-01",
    "/v1/setup-checks?item=TL-01",
    "/v1/load-events?kind=overload",
    "/v1/run-evaluations?item=FX-TL",
    "/v1/setup-comparisons?type=tension_link",
    "/v1/journal?operation=recalls.report_fault&limit=5",
    "/v1/journal?limit=7",
    "/v1/changes?limit=20",
    "/v1/changes?events=certificate.recalled",
    f"{RULE}/risk.svg?lower=-1&upper=1&prior_mean=0&prior_sd=0.5",
    f"{RULE}/risk.png?lower=-1&upper=1&reliability=0.9",
    f"{RULE}?version=1",
    "/metrics",
)
OF_A_RECALL = (
    "affected?sort=changed",
    "affected?sort=shift_over_U&limit=5",
    "affected?verdict_changes=true",
    f"affected?customer={quote(CUSTOMER)}",
    "affected?generation=2&min_shift_over_U=0.5",
    "export.csv?lists=affected,indeterminate&raw=true",
    "export.xlsx?raw=true",
    "export.ndjson?lists=affected",
    "dispositions?history=true",
    "dispositions?action=withdraw",
    "notices?acknowledged=false",
)


def record(trial: Trial) -> None:
    """Record something of every kind: the demo laboratory, the steps of a release, and the rest."""
    _imports(trial)
    _steps(trial)
    trial.keys["customer"] = _key(trial, "customer", ["read"], customer=CUSTOMER)
    for scope in ("read", "decide", "record", "recall"):
        trial.keys[scope] = _key(trial, scope, [scope])
    for one in json.loads((DEMO / "requirements.json").read_bytes()):
        trial.ask("POST", "/v1/requirements", one)
    for one in json.loads((DEMO / "setups.json").read_bytes()):
        trial.ask("POST", "/v1/setup-checks", one["setup"])
    for method, path, body in fuzzed():
        if method == "PATCH":
            trial.change(path, body)
        else:
            trial.ask(method, path, body)
    window = {"last_good_at": "2025-01-02T08:00:00-07:00", "isolated_at": "2025-09-15"}
    trial.ask("POST", "/v1/setup-comparisons/2/fault", {"item": "PIN-21A"} | window)
    for fault in ("fault", "second_fault"):
        trial.ask("POST", "/v1/recalls", {"fault": STORY[fault], "preview": True})
    first, _ = (
        trial.made("/v1/recalls", {"fault": STORY[fault]})["id"]
        for fault in ("fault", "second_fault")
    )
    _case(trial, f"/v1/recalls/{first}")
    again = STORY["fault"] | {"delta_rel": "-0.0009", "last_good_at": "2025-05-01"}
    trial.ask("POST", "/v1/recalls", {"fault": again, "previous": first})
    _changes(trial)
    _decisions(trial)
    _batches(trial)


def _key(trial: Trial, name: str, scopes: list[str], **more: str) -> str:
    made = trial.made("/v1/keys", {"name": f"key {name}", "scopes": scopes, **more})
    token: str = made["token"]
    return token


def _steps(trial: Trial) -> None:
    scenarios = json.loads((FIXTURES / "scenarios" / "recall.json").read_bytes())["scenarios"]
    for step in json.loads((FIXTURES / "schema" / "steps.json").read_bytes()):
        body = step.get("body")
        if "fault" in step:
            body = {"fault": scenarios[step["fault"]]["fault"]}
        elif "scenario" in step:
            left_out = ("fault", "window", "expected")
            scenario = scenarios[step["scenario"]]
            body = {name: one for name, one in scenario.items() if name not in left_out}
        headers = {"Idempotency-Key": step["idempotent"]} if "idempotent" in step else {}
        if "patch" in step:
            trial.change(step["patch"], body)
        else:
            trial.ask("POST", step["post"], body, headers=headers)
        if headers:
            trial.ask("POST", step["post"], body, headers=headers, note="sent again")


def _imports(trial: Trial) -> None:
    whole = (DEMO / "laboratory.json").read_bytes()
    for address in ("/v1/imports?dry_run=true", "/v1/imports", "/v1/imports"):
        trial.ask("POST", address, whole)
    small = {"items": [{"id": "N-1", "kind": "readout"}], "title": "lines"}
    lines = [{name: one} for name, one in small.items() if name != "items"]
    lines += [{"items": one} for one in small["items"]]
    ndjson = {"Content-Type": "application/x-ndjson"}
    body = "\n".join(map(json.dumps, lines)).encode()
    trial.ask("POST", "/v1/imports", body, headers=ndjson)
    trial.ask("POST", "/v1/imports", body + b"\n{", headers=ndjson, note="cut")
    folder = DEMO / "spreadsheet"
    mapping = (folder / "mapping.json").read_bytes()
    files = {one.name: one.read_bytes() for one in sorted(folder.glob("*.csv"))}
    spoiled = files | {"results.csv": files["results.csv"].replace(b"0,0", b"O,0", 9)}
    for sent, query in (
        (files, "?dry_run=true"),
        (files, ""),
        (spoiled, "?dry_run=true"),
        (spoiled, ""),
        (spoiled, "?refused=skip"),
    ):
        for accept in ("application/json", "text/csv"):
            form = {name: (io.BytesIO(one), name) for name, one in sent.items()}
            _form(trial, f"/v1/imports/csv{query}", form, mapping, accept)


def _form(trial: Trial, path: str, files: dict[str, Any], mapping: bytes, accept: str) -> None:
    """Send files as a form whose boundary is always the same."""
    parts = {"mapping": (io.BytesIO(mapping), "mapping.json"), **files}
    body = b"".join(
        b'--cut\r\nContent-Disposition: form-data; name="%s"; filename="%s"\r\n\r\n%s\r\n'
        % (name.encode(), name.encode(), file.read())
        for name, (file, _) in parts.items()
    )
    headers = {"Content-Type": "multipart/form-data; boundary=cut", "Accept": accept}
    trial.ask("POST", path, body + b"--cut--\r\n", headers=headers, note=accept)


def _case(trial: Trial, recall: str) -> None:
    """Work on a recall from its assessment to its end."""
    step = {"by": "Ida Example", "reason": "the comparison was repeated"}
    trial.ask("GET", f"{recall}/similar")
    trial.change(f"{recall}/case", step | {"state": "closed"})
    trial.change(f"{recall}/case", step | {"state": "assessed"})
    trial.ask(
        "POST", f"{recall}/resumption", step, headers={"If-Match": trial.tag(f"{recall}/case")}
    )
    other = step | {"by": "Tor Example"}
    trial.ask(
        "POST", f"{recall}/resumption", other, headers={"If-Match": trial.tag(f"{recall}/case")}
    )
    trial.ask("POST", f"{recall}/notices", {"by": "Ida Example", "customers": [CUSTOMER]})
    made = trial.made(f"{recall}/notices", {"by": "Ida Example"})["items"]
    made += trial.every(f"{recall}/notices")
    for one in made[:4]:
        told = {"to": one["customer"], "how": "email", "by": "Ida Example"}
        trial.ask("POST", f"{recall}/notices/{one['id']}/deliveries", told)
        trial.ask("POST", f"{recall}/notices/{one['id']}/deliveries", told | {"reminder": True})
    answered = {"from": "quality manager", "how": "phone", "by": "Tor Example"}
    trial.ask("POST", f"{recall}/notices/{made[0]['id']}/acknowledgements", answered)
    for name, action in (("affected", "reissue"), ("indeterminate", "recalibrate_free")):
        sent = {"list": name, "action": action, "by": "Ida Example", "undecided": True}
        trial.ask("POST", f"{recall}/dispositions", sent)
    free = {"list": "exposed_zero_effect", "action": "no_action", "by": "Ida Example"}
    trial.ask("POST", f"{recall}/dispositions", free)
    trial.ask("POST", f"{recall}/dispositions", free | {"justification": "no effect"})
    trial.change(f"{recall}/case", step | {"state": "notified"})
    rest = {"customers": [one["customer"] for one in made[4:]], "reason": "told by telephone"}
    trial.ask("POST", f"{recall}/notice-exceptions", rest | {"by": "Tor Example"})
    for name, more in (
        ("corrective_action", {}),
        ("cause", {}),
        ("corrective_action", {}),
        ("effectiveness_review", {"effective": True}),
    ):
        said = {"step": name, "by": "Ida Example", "text": "the screw was loose"} | more
        headers = {"If-Match": trial.tag(f"{recall}/case")}
        trial.ask("POST", f"{recall}/corrective-steps", said, headers=headers)
    trial.change(f"{recall}/case", step | {"state": "notified"})


def _changes(trial: Trial) -> None:
    """Change what may be changed, with the wrong version first."""
    use = {"item": "Z-REF", "role": "force_reference"}
    draft = {"certificate": "Z-9", "status": "draft", "item": "Z-TL", "uses": [use]}
    draft |= {"performed_at": "2025-04-01T10:00:00Z", "customer": CUSTOMER}
    trial.ask("POST", "/v1/calibrations", draft)
    trial.ask("POST", "/v1/calibrations", draft)
    issued = {"issued_at": "2025-04-03"}
    trial.ask("POST", "/v1/certificates/Z-9/issue", issued)
    answered = {"override": {"by": "Ida Example", "reason": "the reference is invented"}}
    issued |= answered
    trial.ask("POST", "/v1/certificates/Z-9/issue", issued)
    trial.ask("POST", "/v1/certificates/Z-9/issue", issued)
    correction = {"use": use | {"weight": "1"}, "by": "Ida Example", "reason": "typing error"}
    trial.ask("POST", "/v1/certificates/Z-9/uses/0/corrections", correction)
    again = draft | {"revision": 1, "status": "issued", "issued_at": "2025-04-09"} | answered
    again["amendment"] = "the weight of the reference"
    trial.ask("POST", "/v1/certificates/Z-9/revisions", again)
    trial.ask("POST", "/v1/certificates/Z-9/void", {"reason": "typing error"})
    item = {"id": "Y-1", "kind": "adapter", "type": "shackle", "capacity": "50 kN"}
    trial.ask("POST", "/v1/items", item)
    part = {"assembly": "Y-1", "part": "N-1", "from": "2025-01-01"}
    placed = trial.made("/v1/compositions", part)
    check = {"id": "Y-C", "item": "Z-REF", "at": "2025-05-01T09:00:00Z", "result": "pass"}
    trial.ask("POST", "/v1/checks", check)
    hook = trial.every("/v1/webhooks")[0]["id"]
    customer = trial.every("/v1/customers")[0]["id"]
    for path, body in (
        ("/v1/items/Y-1", {"owner": "laboratory", "properties": {"note": "of steel"}}),
        (f"/v1/compositions/{placed['id']}", {"until": "2025-06-01"}),
        (f"/v1/customers/{customer}", {"contact": "gate 4"}),
        (f"/v1/webhooks/{hook}", {"active": False}),
        ("/v1/persons/z", {"office": "workshop"}),
        ("/v1/laboratory", {"address": "2 Load Lane"}),
    ):
        trial.ask("PATCH", path, body, note="without a version")
        trial.ask("PATCH", path, body, headers={"If-Match": '"999"'}, note="another version")
        trial.change(path, body)
    one, other = (
        trial.made("/v1/keys", {"name": f"to be {end}", "scopes": ["read"]})
        for end in ("replaced", "revoked")
    )
    trial.ask("POST", f"/v1/keys/{one['id']}/rotation", {"grace_hours": 1})
    trial.ask("DELETE", f"/v1/keys/{other['id']}")


def _decisions(trial: Trial) -> None:
    base = {"value": "10.012", "U": "0.004", "unit": "kN", "limits": {"upper": "10.015"}}
    for rule in ("simple", "guard_U", "four_state_U", "fx-rule", "Z"):
        for value in ("10.010", "10.012", "10.0131", "10.015", "10.016", "10.03"):
            one = base | {"rule": rule, "value": value, "prior": {"mean": "10", "sd": "0.01"}}
            trial.ask("POST", "/v1/decisions", one)
            trial.ask("POST", "/v1/decisions", one | {"store": False})
    trial.ask("POST", "/v1/decisions", base | {"rule": "guard_U", "budget": "B-1"})
    budgeted = {name: one for name, one in base.items() if name != "U"} | {"rule": "guard_U"}
    for budget in trial.every("/v1/uncertainty-budgets"):
        limits = {"limits": {"lower": "99", "upper": "101"}, "value": "100.5"}
        trial.ask("POST", "/v1/decisions", budgeted | limits | {"budget": budget["id"]})


def _batches(trial: Trial) -> None:
    """Decide the demo's batch in every format, and a large one that is streamed."""
    text = (DEMO / "results.csv").read_bytes()
    rows = list(csv.DictReader(io.StringIO(text.decode())))
    # An id that a spreadsheet would run.
    rows = [row | {"id": f"=1+{place}"} for place, row in enumerate(rows)]
    plain = [{name: one for name, one in row.items() if one} for row in rows]
    table = pa.Table.from_pylist(rows)
    packed, streamed = io.BytesIO(), io.BytesIO()
    parquet.write_table(table, packed)
    with pa.ipc.new_stream(streamed, table.schema) as stream:
        stream.write_table(table)
    bodies = {
        "text/csv": text,
        "application/json": json.dumps({"rows": plain}).encode(),
        "application/x-ndjson": "\n".join(map(json.dumps, plain)).encode(),
        PARQUET: packed.getvalue(),
        ARROW: streamed.getvalue(),
    }
    for sent, body in bodies.items():
        for accept in bodies:
            for query in ("", "?raw=true&rule=guard_U&summary=line"):
                headers = {"Content-Type": sent, "Accept": accept}
                note = f"{sent} to {accept}"
                trial.ask("POST", f"/v1/batches{query}", body, headers=headers, note=note)
    heading, _, rest = text.partition(b"\n")
    long = heading + b"\n" + rest * 1000
    trial.ask("POST", "/v1/batches", long, headers={"Content-Type": "text/csv"}, note="long")


def read(trial: Trial, document: dict[str, Any]) -> None:
    """Read everything that was recorded, by every operation that reads."""
    for path, operations in document["paths"].items():
        if "get" in operations:
            for address in _filled(trial, path, {}):
                trial.ask("GET", address)
    for query in QUERIES:
        trial.ask("GET", query)
    for recall in trial.every("/v1/recalls"):
        for query in OF_A_RECALL:
            trial.ask("GET", f"/v1/recalls/{recall['id']}/{query}")
        for notice in trial.every(f"/v1/recalls/{recall['id']}/notices")[:2]:
            for form in ("json", "text", "html", "pdf"):
                address = f"/v1/recalls/{recall['id']}/notices/{notice['id']}?format={form}"
                trial.ask("GET", address)
    for path in ("/v1/decisions/1/replay", "/v1/decisions/2/replay"):
        trial.ask("POST", path)
    for path in ("/v1/certificates", "/v1/certificates/Z-1", "/v1/certificates/MV-25-0075"):
        trial.ask("GET", path, key="customer")
    for one in trial.json("/v1/certificates?limit=200")["items"]:
        if one.get("customer") == CUSTOMER:
            trial.ask("GET", f"/v1/certificates/{quote(one['certificate'])}", key="customer")


def _filled(trial: Trial, path: str, known: dict[str, str]) -> Iterator[str]:
    """Every address of a template, with the names of what is recorded in its places."""
    before, brace, rest = path.partition("{")
    if not brace:
        yield path
        return
    place, _, after = rest.partition("}")
    for name in _names(trial, place, path, known):
        filled = f"{before}{quote(name, safe='')}{after}"
        yield from _filled(trial, filled, known | {place: name})


def _names(trial: Trial, place: str, path: str, known: dict[str, str]) -> list[str]:
    if place == "list_name":
        return list(LISTS)
    if place == "number" and "recall_id" in known:
        recall = trial.json(f"/v1/recalls/{known['recall_id']}")
        return [one["certificate"] for name in LISTS[:3] for one in recall[name][:8]]
    listed, field = NAMED[place]
    names = (str(one[field]) for one in trial.every(listed.format(**known)))
    return list(dict.fromkeys(names))
