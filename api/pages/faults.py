"""Report a fault: choose what is wrong, see when it acted and what it would reach, then store it.

A preview is worked out by the service that answers ``POST /v1/recalls`` with `preview`, and noted
in the journal like one. Storing works everything out again, from the records of that moment.
Several faults are reported at once by putting one aside and choosing the next; the form carries
them, nothing is stored in between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import orjson
from flask import Response, redirect, request, url_for

from api.errors import InvalidRecord, TraceholdError
from api.pages import fault_form, fault_labels, forms
from api.pages.fault_again import fields_of
from api.pages.fault_form import KINDS, SHOWN_FOR, body_of, on_the_clock
from api.pages.layout import is_part, pages, show, zone
from api.pages.recalls import summary_sentence
from api.pages.sessions import new_once, once, page
from api.pages.timeline import Timeline, timeline
from api.schemas.faults import RecallRequestSchema
from api.services.alerts import alerts, drafts
from api.services.base.record import Record
from api.services.overview import fault_subjects, start
from api.services.recalls import recalls, reporting, run
from api.web.clock import now_us
from api.web.metrics import meters
from api.web.transactions import note_question, reading, writing
from graph.lists import LISTS
from graph.moments import instant_us

blp = pages("fault_pages")
SCHEMA = RecallRequestSchema()
# Of the certificates whose verdict changes, and of the customers.
MOST_NAMED = 12
ENDS = ("start", "end")
Fields = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Asked:
    """What came of a form: an answer to its command, or what is to be mended first."""

    looked: reporting.Looked | None
    faults: list[forms.Fault]
    command: Record | None = None

    @property
    def answer(self) -> run.Answer | None:
        """The recall as worked out."""
        return None if self.looked is None else self.looked.answer


@blp.route("/recalls/new")
@page("recall")
def show_form() -> Response:
    """Choose what is faulty by search, then say what is wrong with it."""
    chosen = forms.filled(request.args, *fault_form.SUBJECT)
    again = request.args.get("previous", type=int)
    if again is not None and not chosen:
        return _second_look(again)
    alert = request.args.get("alert", type=int)
    if alert is not None:
        return _of_alert(alert)
    if not chosen:
        return _choice(request.args.get("q", ""), [])
    return _form(_begun(chosen), [], None)


@blp.route("/recalls/new", methods=["POST"])
@page("recall")
def report_fault() -> Response:
    """Preview what is reported, put it aside for the next fault, or store the recall."""
    sent = request.form
    aside = sent.getlist("aside")[: fault_form.MOST_AT_ONCE]
    if "drop" in sent:
        aside = [one for place, one in enumerate(aside) if str(place) != sent["drop"]]
    if "choose" in sent:
        return _form(_begun(fault_form.taken_up(sent["choose"])), aside, None)
    if "q" in sent:
        return _choice(sent["q"], aside)
    asked = _ask(sent, aside)
    if asked.answer is None or not {"another", "store"} & sent.keys():
        return _form(sent, aside, asked)
    if "another" in sent:
        return _choice("", [*aside, fault_form.put_aside(sent)])
    command = asked.command or {}

    def work() -> Any:
        answer, head = reporting.reported(reading, writing, command, now_us, asked.looked)
        meters().stored_recall(answer.head["summary"])
        if (alert := sent.get("alert", "")).isdigit():
            answered = {"alert_id": int(alert), "recall": head["number"]}
            return redirect(url_for("alert_pages.show_alert", **answered), 303)
        return redirect(url_for("recall_pages.show_recall", recall_id=head["id"]), 303)

    return once(work)


def _ask(sent: Fields, aside: list[str]) -> Asked:
    """Work out what a form reports; unless it is to be stored that is noted as a question."""
    labels = fault_labels.labels(len(aside))
    body = body_of(sent, zone(), [fault_form.taken_up(one) for one in aside])
    command, faults = forms.load(SCHEMA, body, labels)
    if command is None:
        return Asked(None, faults)
    try:
        with reading() as session:
            looked = reporting.look(session, command, now_us())
    except TraceholdError as error:
        return Asked(None, forms.refused(error, labels))
    if "store" not in sent:
        answer = looked.answer
        hashes = {"input_hash": answer.input_hash, "result_hash": answer.result_hash}
        note_question("recall preview", **hashes)
        meters().recalls.labels("preview").inc()
    return Asked(looked, [], command)


def _second_look(again: int) -> Response:
    """The form with the faults of an earlier recall, as they were reported."""
    with reading() as session:
        faults = recalls.get(session, again).faults
    *aside, last = (fields_of(fault, zone()) for fault in faults)
    sent = {"U_delta_k": "2"} | last | {"previous": str(again)}
    return _form(sent, [fault_form.put_aside(one) for one in aside], None)


def _of_alert(key: int) -> Response:
    """The form with the fault that an alert shows."""
    with reading() as session:
        fault = drafts.draft(session, alerts.get(session, key))["fault"]
    return _form({"U_delta_k": "2"} | fields_of(fault, zone()) | {"alert": str(key)}, [], None)


def _choice(text: str, aside: list[str]) -> Response:
    text = text.strip()[:200]
    with reading() as session:
        found = fault_subjects.find(session, text) if text else None
    template = "fault_found.html" if is_part() else "fault_choose.html"
    return show(template, found=found, text=text, aside=_aside(aside), once=new_once())


def _form(sent: Fields, aside: list[str], asked: Asked | None) -> Response:
    subject = _subject(sent)
    answer = None if asked is None else asked.answer
    windows = [] if answer is None else answer.head.get("windows") or [answer.head["window"]]
    facts: Record = {
        "subject": subject,
        "aside": _aside(aside),
        "faults": [] if asked is None else asked.faults,
        "asked": asked is not None,
        "windows": windows,
        "reported": [] if answer is None else answer.faults,
        "line": _line(subject, windows[-1] if windows else None),
        "preview": None if answer is None else _preview(answer),
    }
    if is_part():
        return show("fault_preview.html", **facts)
    with reading() as session:
        earlier = start.looked_at_before(session)
        named = sent.get("previous", "")
        if named.isdigit() and all(str(one["id"]) != named for one in earlier):
            earlier.append(recalls.head_answer(recalls.get(session, int(named))))
    return show(
        "fault_form.html",
        422 if facts["faults"] else 200,
        sent=sent,
        kinds=[one for one in KINDS if _fits(one.name, subject)],
        shown_for=SHOWN_FOR,
        lines=range(fault_form.lines_shown(sent)),
        earlier=[one for one in earlier if any(_same(f, subject) for f in one["faults"])],
        once=new_once(),
        **facts,
    )


def _aside(aside: list[str]) -> list[Record]:
    """The faults put aside, for the page: their text, of what, and what is wrong."""
    told = []
    for text in aside:
        fields = fault_form.taken_up(text)
        name = fields.get("item") or fields.get("certificate") or fields.get("method")
        told.append({"text": text, "name": name, "says": fault_form.said(fields)})
    return told


def _subject(sent: Fields) -> Record:
    """What the fault is of: `of`, its `name`, and what is known of it."""
    chosen = forms.filled(sent, *fault_form.SUBJECT)
    with reading() as session:
        if method := chosen.get("method"):
            found = fault_subjects.of_method(session, method)
            return found | {"of": "method", "name": method}
        if number := chosen.get("certificate"):
            revision = chosen.get("revision", "")
            known = int(revision) if revision.isascii() and revision.isdigit() else None
            found = fault_subjects.of_certificate(session, number, chosen.get("issuer"), known)
            return found | {"of": "certificate", "name": number}
        if "item" not in chosen:
            raise InvalidRecord("the form does not say what is faulty; choose it again")
        return fault_subjects.of_item(session, chosen["item"]) | {
            "of": "item",
            "name": chosen["item"],
        }


def _fits(kind: str, subject: Record) -> bool:
    return subject["of"] == "item" or kind not in fault_form.OF_ITEMS_ONLY


def _same(fault: Record, subject: Record) -> bool:
    return bool(fault.get(subject["of"]) == subject["name"])


def _begun(chosen: Fields) -> Fields:
    """What the form begins with: of an item, the last calibration as the last good evidence."""
    suggested = dict(chosen) | {"kind": KINDS[0].name, "U_delta_k": "2"}
    subject = _subject(chosen)
    if subject["of"] == "certificate":
        suggested["revision"] = str(subject["certificate"]["revision"])
        suggested |= {"issuer": subject["certificate"].get("issuer", "")}
    if subject.get("last_good_at") is not None:
        suggested["last_good_at"] = on_the_clock(subject["last_good_at"], zone())
    return suggested


def _line(subject: Record, window: Record | None) -> Timeline:
    """The time line: shaded is the window, or the time in which a certificate was in force."""
    ends = [None, None] if window is None else [_instant(window[end]) for end in ENDS]
    bounded = subject["of"] == "item" or ends != [None, None]
    shaded = subject.get("in_force")
    if window is not None and bounded:
        shaded = (ends[0], ends[1])
    narrowing = [] if window is None else window["checks"]
    moved = [one["check"] for one in narrowing if one["moves_start"]]
    uses = "Recorded it" if subject["of"] == "method" else "Took its value"
    return timeline(subject["history"], now_us(), shaded, moved, uses)


def _instant(text: str | None) -> int | None:
    return None if text is None else instant_us(text, zone())


def _preview(answer: run.Answer) -> Record:
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
