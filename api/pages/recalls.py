"""One recall: what was found in a sentence, its lists in pages, and one certificate looked at.

The lists stay on the server: a page holds `ROWS` of them, in the order and through the filters of
the API. A chosen certificate is shown beside the picture, in which what leads to it stands out. The
picture holds a bounded number of certificates and counts the rest, so that it costs the same
whatever the size of the recall.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import orjson
from flask import Response, g, request
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.pages import forms
from api.pages.case_steps import case_steps, corrective_next, resumption, still_to_do
from api.pages.layout import pages, show
from api.pages.point_drawing import drawing
from api.pages.recall_drawing import picture
from api.pages.sessions import new_once, page
from api.pages.words import counted
from api.schemas.dispositions import DISPOSABLE
from api.schemas.recalls import EntryQuerySchema
from api.services.base.record import Record
from api.services.casework import cases, dispositions, isolation, similar_items
from api.services.casework.entry_filters import FILTERS
from api.services.certificates import corrected_revisions, statements
from api.services.evidence import evidence, page_part
from api.services.recalls import lists, recalls
from api.services.recalls.staleness import staleness, standing
from api.store.casework import Disposition
from api.web.transactions import reading
from graph.lists import LISTS

blp = pages("recall_pages")
ROWS = 100
MOST_SIMILAR = 25
SCHEMA = EntryQuerySchema()
LABELS = {
    f"/{name}": (f"filter-{name}", label)
    for name, label in (
        ("generation", "Generation"),
        ("min_shift_over_U", "Smallest shift over U"),
        ("customer", "Customer"),
        ("item", "Item"),
    )
}
# Columns that a list can be sorted by: order, heading, direction that it has.
SORTS = (
    ("order", "Certificate", "ascending"),
    ("item", "Item", "ascending"),
    ("customer", "Customer", "ascending"),
    ("generation", "Generation", "ascending"),
    ("shift_over_U", "Shift over U", "descending"),
    ("shift_over_tolerance", "Shift over tolerance", "descending"),
    ("changed", "Verdict", "descending"),
)


@blp.route("/recalls/<int:recall_id>")
@page("read")
def show_recall(recall_id: int) -> Response:
    """Show a recall, one page of one of its lists, and the certificate that was chosen."""
    sent = request.args
    name = sent.get("list", LISTS[0])
    if name not in LISTS:
        raise NotFound(f"a recall has no list {name}")
    start = max(0, min(sent.get("start", 0, type=int), 10_000_000))
    query, faults = _query(sent)
    with reading() as session:
        stored = recalls.get(session, recall_id)
        head = recalls.head_answer(stored)
        rows, more = lists.entry_rows(session, recall_id, name, query, start)
        made = dispositions.histories(session, recall_id, [row.certificate_id for row in rows])
        entries = [
            orjson.loads(row.body) | {"dispositions": _told(made.get(row.certificate_id, ()))}
            for row in rows
        ]
        case = cases.answer(session, cases.get(session, recall_id))
        case |= standing(session, recall_id)
        chosen = _chosen(session, stored, sent)
        lit = None if chosen is None else chosen["key"]
        facts: Record = {
            **staleness(session, recall_id),
            "case": case,
            "steps": case_steps(case),
            "still_to_do": still_to_do(case),
            "to_reissue": corrected_revisions.to_reissue(session, recall_id),
            "resumption": resumption(case, g.key.person),
            "corrective_next": corrective_next(case),
            "second_looks": recalls.second_looks(session, recall_id),
            "isolating": isolation.isolated_by(session, stored),
            "count": lists.entry_count(session, recall_id, name, query),
            "open_count": lists.entry_count(session, recall_id, name, query, undecided=True),
            "chosen": chosen,
            "picture": picture(page_part.drawn_part(session, stored, lit)),
            "similar": similar_items.suggest(session, stored),
        }
    return show(
        "recall.html",
        head=head,
        sentence=summary_sentence(head),
        name=name,
        entries=entries,
        start=start,
        more=more,
        rows_a_page=ROWS,
        sorts=SORTS,
        sort=query["sort"],
        faults=faults,
        filters=forms.filled(sent, *FILTERS),
        lists=LISTS,
        disposable=name in DISPOSABLE,
        drawable=sum(head["summary"][one] for one in LISTS) <= evidence.MOST_CERTIFICATES,
        kept=forms.filled(sent, "list", "sort", *FILTERS),
        once=new_once(),
        disposed=sent.get("disposed", 0, type=int),
        drafted=sent.get("drafted", 0, type=int),
        most_similar=MOST_SIMILAR,
        **facts,
    )


def summary_sentence(head: Record) -> str:
    """Return what a recall found in one sentence, whole lists counted."""
    found = head["summary"]
    affected, changes = found["affected"], found["verdict_changes"]
    said = f"{counted(affected, 'certificate')} {_are(affected)} affected"
    said += f" and {counted(found['customers'], 'customer')} concerned"
    more = []
    if affected:
        more.append(f"a statement of conformity changes on {counted(changes, 'certificate')}")
    if many := found["could_change"]:
        more.append(f"it could change on {many:,} more")
    if many := found["indeterminate"]:
        more.append(f"the effect on {many:,} more is not known")
    if many := found["exposed_zero_effect"]:
        more.append(f"{many:,} more {'was' if many == 1 else 'were'} exposed without effect")
    if many := found["cannot_be_excluded"]:
        more.append(f"the records cannot exclude {many:,} more")
    said = said[:1].upper() + said[1:]
    return f"{said}; {', '.join(more)}." if more else f"{said}."


def _told(made: Sequence[Disposition]) -> list[Record]:
    """Dispositions of one certificate, the one that counts first."""
    return [dispositions.said(one) for one in reversed(made)]


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _query(sent: Mapping[str, str]) -> tuple[Record, list[forms.Fault]]:
    """Sort and filters; what is wrong with them is said and left out."""
    body: dict[str, Any] = forms.filled(sent, "sort", *FILTERS)
    loaded, faults = forms.load(SCHEMA, body, LABELS)
    return {"sort": "order", "limit": ROWS, **(loaded or {})}, faults


def _chosen(session: Session, stored: Any, sent: Mapping[str, str]) -> Record | None:
    number = sent.get("chosen")
    if not number:
        return None
    revision = sent.get("revision", "")
    found = lists.entry_of(
        session,
        stored.id,
        number,
        sent.get("issuer") or None,
        int(revision) if revision.isascii() and revision.isdigit() else None,
    )
    if found is None:
        return {"number": number, "key": None, "entry": None}
    key, entry = found
    rows = statements.by_place(statements.rows(session, key), entry.get("points", []))
    pairs = list(zip(rows, entry.get("points", []), strict=True))
    why = evidence.explanation(
        session, stored, number, sent.get("issuer") or None, entry["revision"]
    )
    return {
        "number": number,
        "key": key,
        "entry": entry,
        "pairs": pairs,
        "why": why,
        "drawn": drawing([(row, moved) for row, moved in pairs if row is not None]),
    }
