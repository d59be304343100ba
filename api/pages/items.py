"""One item: its history on a line of time, what rests on it, what it rests on, its load cycles."""

from __future__ import annotations

from flask import Response
from sqlalchemy.orm import Session

from api.errors import InvalidRecord
from api.pages.corrections import MOST_SHOWN, of_item
from api.pages.layout import pages, show
from api.pages.sessions import page
from api.pages.timeline import timeline
from api.services.alerts import alerts
from api.services.alerts.states import OPEN
from api.services.base.record import Record
from api.services.casework import isolation
from api.services.grounds import chains
from api.services.life import cycles, ledgers
from api.services.overview import item_history
from api.services.records import items, requirement_choice
from api.store.tables import Item
from api.web.clock import now_us
from api.web.transactions import reading

blp = pages("item_pages")
# The latest of a ledger's uses that a page lists, and its first open alerts.
MOST_USES = 25
MOST_ALERTS = 12


@blp.route("/items/<path:item_id>")
@page("read")
def show_item(item_id: str) -> Response:
    """Show everything that matters about one item."""
    now = now_us()
    with reading() as session:
        item = items.get(session, item_id)
        history = item_history.history(session, item)
        resting = item_history.resting(session, item)
        latest = item_history.latest_certificate(session, item)
        chain = None if latest is None else chains.chain(session, latest)
        ledger = ledgers.ledger(session, item_id, {"rate_days": cycles.DAYS}, now)
        isolations = isolation.of_item(session, item_id, now)
        overrides = isolation.overrides(session, item.id)
        shown = items.shown(session, item)
        corrected = item_history.corrected(session, item)
        waiting, _ = alerts.find(session, {"state": OPEN, "item": item_id}, None, MOST_ALERTS)
        required = _required(session, item)
    return show(
        "item.html",
        item=shown,
        history=history,
        line=timeline(history, now),
        resting=resting,
        latest=latest,
        overdue=latest is not None and latest.due_us is not None and latest.due_us < now,
        chain=chain,
        ledger=ledger,
        isolations=isolations,
        overrides=overrides,
        corrections=of_item(*corrected, shown.get("identity_swaps") or ()),
        most_corrections=MOST_SHOWN,
        most_uses=MOST_USES,
        alerts=waiting,
        required=required,
    )


def _required(session: Session, item: Item) -> Record:
    """What its set-up requires: the `id` of the requirement that counts, and `says` why."""
    try:
        row, basis, notes = requirement_choice.choose(session, requirement_choice.subject_of(item))
    except InvalidRecord as ambiguous:
        return {"id": None, "says": f"{ambiguous.detail}: nobody can say which one is meant"}
    says = f"recorded for {requirement_choice.BASES[basis]}" if basis is not None else None
    return {"id": None if row is None else row.code, "says": says, "notes": notes}
