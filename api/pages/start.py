"""The start: what is open, and one search over certificates, items and customers."""

from __future__ import annotations

from flask import Response, request

from api.pages.layout import is_part, pages, show
from api.pages.sessions import customer, page
from api.services.overview import start
from api.web.clock import now_us
from api.web.transactions import reading

blp = pages("start_page")


@blp.route("/")
@page("read", customers=True)
def show_start() -> Response:
    """Show what is open and what a search finds; to a customer, its own certificates."""
    text = request.args.get("q", "")[:200]
    owner = customer()
    with reading() as session:
        found = start.search(session, text, owner)
        if is_part():
            return show("search_found.html", found=found, text=text.strip())
        work = start.open_work(session, now_us()) if owner is None else None
    return show("start.html", work=work, found=found, text=text.strip())
