"""Certificates that would be stopped today, the latest first, so many looked at on each page."""

from __future__ import annotations

from flask import Response, request, url_for

from api.pages.layout import pages, show
from api.pages.sessions import page
from api.services.overview import stopped
from api.web import paging
from api.web.clock import now_us
from api.web.transactions import reading

blp = pages("stop_pages")


@blp.route("/stops")
@page("read")
def show_stops() -> Response:
    """List certificates of which something speaks today that would stop their issue."""
    cursor = request.args.get("cursor")
    after = paging.after({} if cursor is None else {"cursor": cursor})
    with reading() as session:
        found, key = stopped.find(session, {}, after, stopped.MOST_LOOKED_AT, now_us())
    following = None if key is None else paging.cursor(key)
    return show(
        "stops.html",
        found=found,
        looked_at=stopped.MOST_LOOKED_AT,
        following=following and url_for("stop_pages.show_stops", cursor=following),
    )
