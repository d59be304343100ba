"""What all pages share: the frame, errors as pages, and the address of the page that was asked for.

A page is written for reading without scripts; a script asks for the same page's changing part with
the header ``Tracehold-Part`` and gets that alone (`is_part`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, g, render_template, request
from sqlalchemy.exc import IntegrityError, InternalError, OperationalError
from sqlalchemy.orm.exc import StaleDataError
from werkzeug.exceptions import HTTPException

from api import errors
from api.pages import words
from api.services.access import persons
from api.services.access.page_sessions import form_token
from api.services.base.cautions import CAUTION
from api.services.base.recording import zone_of
from api.web import problems
from api.web.json import loads
from api.web.problems import Problem
from api.web.request_id import request_id
from api.web.transactions import reading
from graph.moments import text_of

PART_HEADER = "Tracehold-Part"


def pages(name: str) -> Blueprint:
    """Make the blueprint of some pages; whatever goes wrong in them is answered with a page."""
    blp = Blueprint(name, __name__, template_folder="templates")
    for error, answer in ANSWERS:
        blp.register_error_handler(error, as_page(answer))
    return blp


def show(template: str, status: int = 200, **facts: Any) -> Response:
    """Render a page."""
    page = render_template(template, **_shared(), **facts)
    response = Response(page, status, mimetype="text/html")
    if is_part():
        response.headers[PART_HEADER] = "yes"
        response.headers["Vary"] = PART_HEADER
    return response


def is_part() -> bool:
    """Whether a script asks for the changing part of the page alone."""
    return PART_HEADER in request.headers


def zone() -> ZoneInfo:
    """The laboratory's time zone, read once a request."""
    found: ZoneInfo | None = g.get("page_zone")
    if found is None:
        with reading() as session:
            found = g.page_zone = zone_of(session)
    return found


def persons_kept() -> list[tuple[str, str]]:
    """Return id and words of the recorded persons who may act, read once a request."""
    found: list[tuple[str, str]] | None = g.get("page_persons")
    if found is None:
        with reading() as session:
            found = g.page_persons = persons.choices(session)
    return found


def _shared() -> dict[str, Any]:
    cookie: str | None = g.get("page_cookie")
    return {
        "words": words,
        "state": words.state,
        "number": words.number,
        "span": words.span,
        "percent": words.percent,
        "counted": words.counted,
        "plain_words": words.plain_words,
        "when": lambda text: words.when(text, zone()),
        "when_us": lambda at_us: words.when(text_of(at_us), zone()),
        "zone_name": lambda: zone().key,
        "key": g.get("key"),
        "persons_kept": persons_kept,
        "form_token": None if cookie is None else form_token(cookie),
        "caution_text": CAUTION,
    }


def as_page(answer: Callable[[Any], Response]) -> Callable[[Any], Response]:
    """Turn the answer of a problem into a page that says the same."""

    def shown(error: Any) -> Response:
        told = answer(error)
        problem = loads(told.get_data())
        template = "problem_part.html" if is_part() else "problem_page.html"
        said = words.problem(told.status_code)
        facts = {"problem": problem, "said": said, "request_id": request_id()}
        page = show(template, told.status_code, back=_back(), **facts)
        for name, value in told.headers.items():
            # A browser that is asked to authenticate would show a box of its own.
            if name not in ("Content-Type", "Content-Length", "WWW-Authenticate"):
                page.headers[name] = value
        return page

    return shown


def _back() -> int | None:
    """The recall that the page belongs to, unless it is that page itself that cannot be shown."""
    recall: int | None = (request.view_args or {}).get("recall_id")
    return None if request.endpoint == "recall_pages.show_recall" else recall


ANSWERS: list[tuple[type[Exception], Callable[[Any], Response]]] = [
    (Problem, problems.of_problem),
    (errors.TraceholdError, problems.of_domain_error),
    (HTTPException, problems.of_http_error),
    *(
        (error, problems.of_database_error)
        for error in (StaleDataError, IntegrityError, OperationalError, InternalError)
    ),
    (Exception, problems.of_unforeseen),
]
