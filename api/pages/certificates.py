"""One certificate, as whoever holds it would check it: valid or not, what it states and rests on.

It is called valid only where no recall lists it and none of today's grounds would stop its issue. A
key of a customer sees its own certificates only, and of those what stands on the paper: no names of
the laboratory's standards, which may belong to somebody else, of the chain only whether it is
unbroken, and of grounds that stop only that it is not called valid.
"""

from __future__ import annotations

from typing import Any

from flask import Response, request

from api.errors import NotFound
from api.pages.corrections import MOST_SHOWN, of_certificate
from api.pages.layout import pages, show
from api.pages.point_drawing import drawing
from api.pages.sessions import customer, page
from api.services.access import persons
from api.services.base.record import Record
from api.services.certificates import certificates, customer_view, statements
from api.services.grounds import chains, issues
from api.services.grounds.finding import STOP
from api.services.records import customers
from api.services.records.revisions import choose
from api.web import paging
from api.web.clock import now_us
from api.web.transactions import reading

blp = pages("certificate_pages")
MOST_LISTED = 100


@blp.route("/certificates/<path:number>")
@page("read", customers=True)
def show_certificate(number: str) -> Response:
    """Show whether a certificate is valid, what it states, and what it rests on."""
    owner = customer()
    issuer = request.args.get("issuer")
    revision = request.args.get("revision", type=int)
    with reading() as session:
        found = choose(session, number, issuer, revision, owner)
        answer = certificates.answer if owner is None else customer_view.answer
        shown = answer(session, found)
        rows = statements.rows(session, found.id)
        chain = chains.chain(session, found)
        authorised_by = found.authorised_by and persons.in_words(session, found.authorised_by)
        grounds = issues.kept(session, found, now_us())
    stops = sum(one["weight"] == STOP for one in grounds["today"])
    return show(
        "certificate.html",
        shown=shown,
        standing=standing(shown, stops),
        stops=stops,
        rows=rows,
        drawn=drawing([(row, None) for row in rows]),
        chain=chain,
        levels=_levels(chain),
        broken=_broken(chain),
        # What speaks against it may name what belongs to somebody else.
        grounds=grounds if owner is None else None,
        owner=owner,
        corrections=of_certificate(shown.get("corrections") or ()),
        most_corrections=MOST_SHOWN,
        authorised_by=authorised_by,
        overdue=found.due_us is not None and found.due_us < now_us(),
    )


@blp.route("/customers/<int:customer_id>")
@page("read", customers=True)
def show_customer(customer_id: int) -> Response:
    """List the certificates of one customer."""
    with reading() as session:
        found = customers.get(session, customer_id)
        if customer() not in (None, found.name):
            raise NotFound(f"customer {customer_id} is not recorded")
        query = {"cursor": request.args["cursor"]} if "cursor" in request.args else {}
        heads, key = certificates.find(
            session, {"customer": found.name}, paging.after(query), MOST_LISTED
        )
    following = paging.answer([], key)[0]["next"]
    return show("customer.html", customer=found, heads=heads, next=following)


def standing(shown: Record, stops: int) -> str:
    """Return what a certificate is worth, the gravest first.

    `stops` is how many of today's grounds would stop its issue; with any it is not called valid.
    """
    if shown["status"] != "issued":
        return str(shown["status"])
    state: str = shown["recall_state"]
    if state != "none":
        return state
    return "doubtful" if stops else "valid"


def _broken(chain: Record) -> dict[str, list[str]]:
    """Return the kinds of the breaks by the number of the certificate in which each is."""
    found: dict[str, set[str]] = {}
    for one in chain["breaks"]:
        found.setdefault(one["certificate"], set()).add(one["kind"])
    return {number: sorted(kinds) for number, kinds in found.items()}


def _levels(chain: Record) -> list[tuple[int, list[Record]]]:
    """Return the links that carry a value by level, those that served several certificates once."""
    levels: dict[int, dict[tuple[Any, ...], Record]] = {}
    for link in chain["links"]:
        rests_on = link.get("rests_on", {})
        mark = link["item"], link["role"], rests_on.get("certificate"), rests_on.get("revision")
        levels.setdefault(link["level"], {}).setdefault(mark, link)
    return [(level, list(links.values())) for level, links in sorted(levels.items())]
