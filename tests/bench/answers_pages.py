"""What a browser is shown, by the laboratory's own key and by a customer's: pages, forms, files."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any
from urllib.parse import quote, urlencode

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.bench.answers_api import CUSTOMER, LISTS, STORY
from tests.bench.answers_trial import Trial, template

DECISION = {"value": "10.012", "U": "0.004", "unit": "kN", "upper": "10.015", "rule": "guard_U"}
ALONE = ("/", "/decide", "/recalls/new", "/v1/docs", "/assets/pages.css", "/assets/live.js")
QUERIES = (
    "/?q=MV-25",
    "/?q=REF",
    f"/?q={quote(CUSTOMER)}",
    "/recalls/new?q=REF-500",
    "/recalls/new?item=REF-500A",
    "/recalls/new?item=PIN-22A",
    "/recalls/new?certificate=OIF/23-0219",
    "/recalls/new?method=FP-11",
    "/certificates/MV-25-0075?revision=0",
    "/certificates/none-such",
    "/items/none-such",
    "/recalls/987654",
    "/none-such",
)
PROBLEMS = ("not-found", "invalid-request", "conflict", "stale-version", "none-such")


class Visitor:
    """A browser without scripts that keeps its cookies."""

    def __init__(self, trial: Trial, name: str) -> None:
        self.trial, self.name = trial, name
        self.client: FlaskClient = trial.app.test_client()

    def get(self, path: str, note: str = "", **headers: str) -> TestResponse:
        """Open a page."""
        return self.trial.ask(
            "GET", path, key=None, client=self.client, headers=headers, note=self._noted(note)
        )

    def send(self, page: str, action: str, note: str = "", /, **filled: Any) -> TestResponse:
        """Open a page, fill in the form on it that goes to an address, and send it."""
        form = _form(self.get(page, f"for a form to {action}").text, action)
        form |= filled
        return self.trial.ask(
            "POST", action, key=None, client=self.client, form=form, note=self._noted(note)
        )

    def _noted(self, note: str) -> str:
        return f"as {self.name} {note}".rstrip()


def look(trial: Trial) -> None:
    """Sign in, look at every page, send every form, and sign out."""
    stranger = Visitor(trial, "stranger")
    for path in (*ALONE, *(f"/problems/{one}" for one in PROBLEMS)):
        stranger.get(path)
    stranger.send("/sign-in", "/sign-in", "a wrong key", key="th_0123456789abcdef_wrong")
    own, customer = Visitor(trial, "laboratory"), Visitor(trial, "customer")
    own.send("/sign-in", "/sign-in", key=trial.keys["all"])
    customer.send("/sign-in", "/sign-in", key=trial.keys["customer"])
    for visitor in (own, customer):
        _read(visitor)
    _decide(own)
    _report(own)
    _work(own)
    own.send("/", "/sign-out")
    own.get("/", "signed out")


def _read(visitor: Visitor) -> None:
    trial = visitor.trial
    for path in (*ALONE, *QUERIES):
        visitor.get(path)
    for path in ("/?q=MV-25", "/recalls/new?q=REF", f"/decide?{urlencode(DECISION)}"):
        visitor.get(path, "a part", **{"Tracehold-Part": "yes"})
    for path in ("/decide", "/decide/figure.svg"):
        visitor.get(f"{path}?{urlencode(DECISION)}")
        visitor.get(f"{path}?{urlencode(DECISION | {'U': '-1'})}")
    for item in trial.every("/v1/items"):
        visitor.get(f"/items/{quote(item['id'], safe='')}")
    for certificate in trial.every("/v1/certificates")[:160]:
        visitor.get(f"/certificates/{quote(certificate['certificate'], safe='')}")
    for one in trial.every("/v1/customers"):
        visitor.get(f"/customers/{one['id']}")
    for recall in trial.every("/v1/recalls"):
        base = f"/recalls/{recall['id']}"
        for path in ("", "/notices", "/figure.svg", "/export.csv", "/export.xlsx"):
            visitor.get(f"{base}{path}")
        for name in LISTS:
            visitor.get(f"{base}?list={name}&sort=changed")
        for notice in trial.every(f"/v1{base}/notices")[:3]:
            for path in ("", ".pdf", "/records"):
                visitor.get(f"{base}/notices/{notice['id']}{path}")


def _decide(visitor: Visitor) -> None:
    page = f"/decide?{urlencode(DECISION)}"
    visitor.send(page, "/decide", "to be stored")
    visitor.send(page, "/decide", "of nothing", value="much")


def _report(visitor: Visitor) -> None:
    """Preview a fault, report it with another, and store them."""
    page = "/recalls/new?item=REF-500A"
    fault = {"last_good_at": "2025-03-10T10:00", "isolated_at": "2025-09-11T16:00"}
    small = fault | {"kind": "true_force_relative_error", "delta_rel": "-0.05"}
    visitor.send(page, "/recalls/new", "preview", **small, preview="yes")
    visitor.send(page, "/recalls/new", "wrong", **small | {"delta_rel": "much"}, preview="yes")
    visitor.send(page, "/recalls/new", "another", **small, another="yes")
    segments = {"segment-0-above": "0", "segment-0-up_to": "100", "segment-0-delta": "0.03"}
    visitor.send(page, "/recalls/new", "by range", **fault, **segments, preview="yes")
    for kind, more in (
        ("indicates_high", {"indication_rel": "0.05"}),
        ("interval", {"bound_rel": "0.08"}),
        ("unknown", {}),
    ):
        sent = fault | {"kind": kind} | more
        visitor.send(page, "/recalls/new", kind, **sent, preview="yes")
    visitor.send(page, "/recalls/new", "to be stored", **small, store="yes")


def _work(visitor: Visitor) -> None:
    """Work on the newest recall, by the forms of its pages."""
    newest = max(one["id"] for one in visitor.trial.every("/v1/recalls"))
    base = f"/recalls/{newest}"
    step = {"by": "Ida Example", "reason": STORY["fault"]["meaning"]}
    visitor.send(base, f"{base}/case", **step, state="assessed")
    visitor.send(base, f"{base}/case", "an old page", **step, state="notified", version="1")
    visitor.send(base, f"{base}/resumption", **step | {"by": "Tor Example"})
    affected = visitor.trial.json(f"/v1{base}")["summary"]["affected"]
    whole = {"scope": "filter", "list": "affected", "action": "withdraw", "by": "Ida Example"}
    whole["count"] = str(affected)
    visitor.send(base, f"{base}/dispositions", **whole)
    visitor.send(base, f"{base}/dispositions", "none ticked", **whole | {"scope": "ticked"})
    notices = f"{base}/notices"
    visitor.send(notices, notices, "preview", by="Ida Example", preview="yes")
    visitor.send(notices, notices, by="Ida Example", reply_by="2026-08-01")
    first = visitor.trial.every(f"/v1{notices}")[0]["id"]
    records = f"{notices}/{first}/records"
    told = {"how": "post", "party": "the works", "by": "Ida Example"}
    for what in ("delivery", "reminder", "acknowledgement"):
        visitor.send(records, records, what, **told, what=what)
    visitor.send(records, records, "wrong", what="delivery", how="pigeon")
    for path in (base, notices, records, f"{base}?list=affected"):
        visitor.get(path, "afterwards")


def unseen(trial: Trial) -> list[str]:
    """Pages and forms of the application that were never answered as they should be."""
    found = []
    for rule in trial.app.url_map.iter_rules():
        for method in sorted({"GET", "POST"} & (rule.methods or set())):
            name = f"{method} {template(rule.rule)}"
            if not any(status < 400 for status in trial.seen.get(name, ())):
                found.append(name)
    return found


class _Fields(HTMLParser):
    """What a browser would post of each form of a page, by the address it goes to."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: dict[str, dict[str, Any]] = {}
        self._form: dict[str, Any] | None = None
        self._select: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "form":
            self._form = {}
            if told.get("method") == "post":
                self.forms.setdefault(told.get("action") or "", self._form)
        if self._form is None:
            return
        name, value = told.get("name"), told.get("value") or ""
        if tag == "select":
            self._select = name
        elif tag == "option" and self._select is not None:
            if "selected" in told or self._select not in self._form:
                self._form[self._select] = value
        elif tag == "input" and name:
            ticked = told.get("type") not in ("radio", "checkbox") or "checked" in told
            if ticked and told.get("type") != "submit":
                self._form[name] = value

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        if tag == "form":
            self._form = None


def _form(page: str, action: str) -> dict[str, Any]:
    found = _Fields()
    found.feed(page)
    if action not in found.forms:
        raise RuntimeError(f"no form goes to {action}, only to {', '.join(found.forms)}: {page}")
    return found.forms[action]
