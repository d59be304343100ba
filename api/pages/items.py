"""One item: its history on a line of time, what rests on it, what it rests on, its load cycles."""

from __future__ import annotations

from flask import Response

from api.pages.layout import pages, show
from api.pages.sessions import page
from api.pages.timeline import timeline
from api.services.casework import isolation
from api.services.grounds import chains
from api.services.life import cycles, ledgers
from api.services.overview import item_history
from api.services.records import items
from api.web.clock import now_us
from api.web.transactions import reading

blp = pages("item_pages")
# The latest of a ledger's uses that a page lists.
MOST_USES = 25


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
        most_uses=MOST_USES,
    )
