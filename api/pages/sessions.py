"""Signing in with an API key, and the guard before every page: session, scope, form token.

The cookie is HttpOnly and SameSite=Strict, and Secure where the request came over HTTPS, so that no
other site can act in the name of who is signed in; the token in every form holds even where a
browser ignores that. What a page may do is what the key may do over the API; a page is closed to
keys of customers unless it is declared for them.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar
from urllib.parse import quote

from flask import Response, g, redirect, request, url_for

from api.errors import TraceholdError
from api.pages.layout import is_part, pages, show
from api.services.access import keys, page_sessions, persons
from api.services.access.keys import KeyRecord
from api.web.auth import check, verified
from api.web.clock import now_us
from api.web.idempotency import carry_out_once
from api.web.problems import Problem
from api.web.transactions import database, reading, writing

COOKIE = "tracehold_session"
# Held while the form of the sign-in is open, before there is a session.
BEFORE = "tracehold_sign_in"
ONCE = "once"
View = TypeVar("View", bound=Callable[..., Any])
blp = pages("page_sessions")


def page(scope: str, *, customers: bool = False) -> Callable[[View], View]:
    """Let only who is signed in with a key of this scope see a page; others are told why.

    ``g.key`` is then the key, as after ``api.web.auth.requires``.
    """
    if scope not in keys.SCOPES:
        raise ValueError(f"unknown scope {scope}")

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            key = signed_in()
            if key is None:
                return _to_sign_in()
            if request.method == "POST":
                _check_form(g.page_cookie)
            check(key, scope, customers=customers)
            return view(*args, **kwargs)

        guarded.page_scope = scope  # type: ignore[attr-defined]  # for the test of all routes
        return guarded  # type: ignore[return-value]  # wraps keeps the signature

    return decorate


def customer() -> str | None:
    """Name of the customer that the key is bound to; None for the laboratory's own."""
    name: str | None = g.key.customer
    return name


def by() -> str:
    """Who acts: the person of the key or session, else the one named in the form, or its id."""
    bound: str | None = g.key.person
    if bound:
        return bound
    with reading() as session:
        return persons.as_recorded(session, request.form.get("by", "").strip())


def new_once() -> str:
    """Make the mark of a form that is to be carried out once, however often it is sent."""
    return secrets.token_urlsafe(16)


def once(work: Callable[[], Any]) -> Response:
    """Carry out what a form asks; the same form sent again gets the same answer."""
    mark = request.form.get(ONCE, "")
    if not mark:
        raise Problem("bad-request", "The form came without its mark; open the page again.")
    content = repr((request.path, sorted(request.form.items(multi=True))))
    digest = hashlib.sha256(content.encode("utf-8", "surrogatepass")).hexdigest()
    return carry_out_once(f"page-{mark[:200]}", digest, work)


@blp.route("/sign-in")
def sign_in_form() -> Response:
    """Ask for an API key."""
    return _form("")


@blp.route("/sign-in", methods=["POST"])
def sign_in() -> Any:
    """Open a session for the key that was entered."""
    _check_form(request.cookies.get(BEFORE, ""))
    key = verified(request.form.get("key", "").strip())
    if key is None:
        return _form("This key is unknown, revoked or expired. Check that all of it was copied.")
    person = request.form.get("person", "").strip() or None
    try:
        with reading() as session:
            g.key, person_id = page_sessions.at_work(session, key, person)
        with writing() as session:
            cookie = page_sessions.open_session(session, key, person_id, now_us())
    except TraceholdError as refused:
        return _form(f"{refused.detail[:1].upper()}{refused.detail[1:]}.".replace("..", "."))
    except Problem as refused:
        if refused.code != "person-required":
            raise
        return _form("This laboratory asks who is at work: enter your person id.")
    response = redirect(_wanted(request.form.get("next", "")), 303)
    response.set_cookie(COOKIE, cookie, path="/", **_careful())
    response.delete_cookie(BEFORE, path="/", **_careful())
    return response


@blp.route("/sign-out", methods=["POST"])
def sign_out() -> Any:
    """End the session of this browser."""
    if signed_in() is not None:
        _check_form(g.page_cookie)
        with writing() as session:
            page_sessions.end_session(session, g.page_cookie)
    response = redirect(url_for("page_sessions.sign_in_form"), 303)
    response.delete_cookie(COOKIE, path="/", **_careful())
    return response


def _form(wrong: str) -> Response:
    held = request.cookies.get(BEFORE) or secrets.token_urlsafe(32)
    g.page_cookie, g.key = held, None
    page = show(
        "sign_in.html",
        422 if wrong else 200,
        wrong=wrong,
        ended=COOKIE in request.cookies and not wrong,
        next=_wanted(request.values.get("next", "")),
        person=request.form.get("person", ""),
    )
    page.set_cookie(BEFORE, held, path="/", **_careful())
    return page


def _careful() -> dict[str, Any]:
    return {"httponly": True, "samesite": "Strict", "secure": request.is_secure}


def signed_in() -> KeyRecord | None:
    """Return the key of the session, which becomes ``g.key``; None for a stranger."""
    cookie = request.cookies.get(COOKIE)
    if not cookie:
        return None
    now = now_us()
    with reading() as session:
        found = page_sessions.key_of(session, cookie, now)
    if found is None:
        return None
    key, seen_us = found
    if now - seen_us >= page_sessions.SEEN_EVERY_US:
        page_sessions.note_seen(database(), cookie, now)
        keys.note_use(database(), key, now)
    g.key, g.page_cookie = key, cookie
    return key


def _to_sign_in() -> Response:
    if is_part():
        return Response("Signed out.", 401, mimetype="text/plain")
    wanted = request.full_path.rstrip("?") if request.method == "GET" else "/"
    address = f"{url_for('page_sessions.sign_in_form')}?next={quote(wanted, safe='')}"
    return Response(status=303, headers={"Location": address})


def _check_form(cookie: str) -> None:
    sent = request.form.get("token", "")
    if not cookie or not page_sessions.is_form_token(cookie, sent):
        raise Problem(
            "forbidden", "The form does not belong to this session; open the page again and repeat."
        )


def _wanted(address: str) -> str:
    """Where to go after the sign-in: a page of this server, or the start."""
    ours = address.startswith("/") and not address.startswith(("//", "/\\", "/sign-"))
    return address if ours and address.isprintable() else "/"
