"""Report a fault: choose the item, see the window and what the fault would reach, then store it.

A preview is worked out by the service that answers ``POST /v1/recalls`` with `preview`, and noted
in the journal like one. Storing works everything out again, from the records of that moment.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson
from flask import Response, redirect, request, url_for

from api.errors import TraceholdError
from api.pages import forms
from api.pages.fault_form import KINDS, LABELS, LINES, SHOWN_FOR, body_of, on_the_clock
from api.pages.layout import is_part, pages, show, zone
from api.pages.recalls import summary_sentence
from api.pages.sessions import new_once, once, page
from api.pages.timeline import timeline
from api.schemas.faults import RecallRequestSchema
from api.services import item_history, items, overview, recalling, recalls
from api.services.recording import Record
from api.web.clock import now_us
from api.web.metrics import meters
from api.web.transactions import note_question, reading, writing
from graph.moments import instant_us
from graph.recall import LISTS

blp = pages("fault_pages")
SCHEMA = RecallRequestSchema()
# Of the certificates whose verdict changes, and of the customers.
MOST_NAMED = 12
ENDS = ("start", "end")


@blp.route("/recalls/new")
@page("recall")
def show_form() -> Response:
    """Choose the faulty item by search, then say what is wrong with it."""
    code = request.args.get("item", "").strip()
    if not code:
        text = request.args.get("q", "").strip()[:200]
        with reading() as session:
            found = overview.find_items(session, text) if text else None
        template = "fault_items.html" if is_part() else "fault_choose.html"
        return show(template, found=found, text=text)
    return _form(code, _suggested(code), None, [])


@blp.route("/recalls/new", methods=["POST"])
@page("recall")
def report_fault() -> Response:
    """Preview what the fault reaches, or store the recall."""
    sent = request.form
    code = sent.get("item", "").strip()
    asked, faults = forms.load(SCHEMA, body_of(sent, zone()), LABELS)
    answer = None
    if asked is not None:
        try:
            with reading() as session:
                answer = recalling.recall(session, asked, now_us())
        except TraceholdError as error:
            faults = forms.refused(error, LABELS)
    if answer is None or asked is None or "store" not in sent:
        if answer is not None:
            hashes = {"input_hash": answer.input_hash, "result_hash": answer.result_hash}
            note_question("recall preview", **hashes)
            meters().recalls.labels("preview").inc()
        return _form(code, sent, answer, faults)
    previous = asked.get("previous")

    def work() -> Any:
        with writing() as session:
            head = recalls.store(session, answer, previous, now_us())
        meters().stored_recall(answer.head["summary"])
        return redirect(url_for("recall_pages.show_recall", recall_id=head["id"]), 303)

    return once(work)


def _form(
    code: str, sent: Mapping[str, str], answer: recalling.Answer | None, faults: list[forms.Fault]
) -> Response:
    now = now_us()
    with reading() as session:
        item = items.get(session, code)
        history = item_history.history(session, item)
        shown = items.answer(item)
        earlier = overview.open_recalls(session)
    window = None if answer is None else answer.head.get("window")
    facts = {
        "item": shown,
        "faults": faults,
        "asked": request.method == "POST",
        "window": window,
        "line": _line(history, now, window),
        "preview": None if answer is None else _preview(answer),
    }
    if is_part():
        return show("fault_preview.html", **facts)
    return show(
        "fault_form.html",
        422 if faults else 200,
        sent=sent,
        kinds=KINDS,
        shown_for=SHOWN_FOR,
        lines=range(LINES),
        earlier=[one for one in earlier if any(f.get("item") == code for f in one["faults"])],
        once=new_once(),
        **facts,
    )


def _line(history: Record, now: int, window: Record | None) -> Any:
    if window is None:
        return timeline(history, now)
    ends = [None if window[end] is None else instant_us(window[end], zone()) for end in ENDS]
    narrowing = [one["check"] for one in window["checks"] if one["moves_start"]]
    return timeline(history, now, (ends[0], ends[1]), narrowing)


def _preview(answer: recalling.Answer) -> Record:
    """What the preview shows of an answer: the sentence, counts, and who and what would change."""
    named: list[Record] = []
    changed, customers = 0, dict[str, int]()
    for name in LISTS[:3]:
        for one in answer.lists[name]:
            if one.customer is not None and name != LISTS[1]:
                customers[one.customer] = customers.get(one.customer, 0) + 1
            if one.verdict_changes:
                changed += 1
                if len(named) < MOST_NAMED:
                    named.append(orjson.loads(one.text))
    most = sorted(customers.items(), key=lambda pair: (-pair[1], pair[0]))
    return {
        "sentence": summary_sentence(answer.head),
        "summary": answer.head["summary"],
        "notes": answer.head["notes"],
        "changed": named,
        "changed_count": changed,
        "customers": most[:MOST_NAMED],
        "customer_count": len(most),
    }


def _suggested(code: str) -> dict[str, str]:
    """What the form begins with: the last calibration as the last good evidence."""
    with reading() as session:
        latest = item_history.latest_certificate(session, items.get(session, code))
    suggested = {"item": code, "kind": KINDS[0].name, "U_delta_k": "2"}
    if latest is not None:
        suggested["last_good_at"] = on_the_clock(latest.performed_at, zone())
    return suggested
