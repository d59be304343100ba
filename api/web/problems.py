"""Every error as problem details (RFC 9457), from one table of kinds.

``type`` is ``/problems/<code>``, a page of this service; clients switch on it. ``instance`` is the
request id. Faults in the body carry a JSON Pointer (RFC 6901); faults in a query, path or header
carry ``parameter`` instead. An unforeseen error answers 500 with nothing but the request id; what
happened is in the log under that id.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, request
from sqlalchemy.exc import IntegrityError, InternalError, OperationalError
from sqlalchemy.orm.exc import StaleDataError
from werkzeug.exceptions import HTTPException

from api import errors
from api.errors import Issue
from api.store.database import NO_ROOM, native_name
from api.web.json import ExcessiveJson, MalformedJson, dumps
from api.web.request_id import request_id
from api.web.validation import issues_of

CONTENT_TYPE = "application/problem+json"
MAX_ISSUES = 100
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: its status, its title and what a caller can do about it."""

    status: int
    title: str
    advice: str


KINDS: Mapping[str, Kind] = {
    "bad-request": Kind(400, "Bad request", "Correct the request as the detail says."),
    "malformed-json": Kind(
        400, "Malformed JSON", "Send JSON with one meaning: no NaN, no key twice in one object."
    ),
    "unauthorized": Kind(
        401, "No valid API key", "Send a valid key as Authorization: Bearer <key>."
    ),
    "forbidden": Kind(403, "Not allowed for this key", "Use a key that may do this."),
    "missing-scope": Kind(
        403, "The key lacks a scope", "Use a key with the scope that the detail names."
    ),
    "person-required": Kind(
        403, "A person is required", "Use a key bound to a person, or send Tracehold-Person."
    ),
    "not-found": Kind(404, "Not found", "Check the address and the id in it."),
    "method-not-allowed": Kind(405, "Method not allowed", "Use a method from the Allow header."),
    "not-acceptable": Kind(406, "Not acceptable", "Ask for a format this address offers."),
    "conflict": Kind(
        409,
        "Conflict with what is recorded",
        "Compare with the record; correct it by a new version.",
    ),
    "doubtful-ground": Kind(
        409,
        "Not issued on doubtful ground",
        "Mend what errors names, or send override with who answers for it, and why.",
    ),
    "request-running": Kind(
        409, "The same request is still running", "Wait, then send it again with the same key."
    ),
    "stale-version": Kind(
        412, "Changed since it was read", "Read it again and repeat the change with the new ETag."
    ),
    "body-too-large": Kind(413, "Body too large", "Send less at once, or in several requests."),
    "unsupported-media-type": Kind(
        415, "Unsupported media type", "Send a Content-Type that this address accepts."
    ),
    "invalid-request": Kind(
        422, "The request breaks the schema", "Correct each fault listed in errors."
    ),
    "invalid-record": Kind(
        422, "The record contradicts itself or the trade", "Correct each fault listed in errors."
    ),
    "rows-refused": Kind(
        422, "Rows were refused", "Mend the rows in report, or send refused=skip to leave them out."
    ),
    "unknown-reference": Kind(
        422, "A link to something not recorded", "Record the missing thing first, or mend the link."
    ),
    "limit-exceeded": Kind(
        422, "More than this server reads", "Send less: fewer values, levels or digits."
    ),
    "idempotency-key-reused": Kind(
        422, "Idempotency-Key used for another request", "Use a fresh key for each new request."
    ),
    "precondition-required": Kind(
        428, "If-Match is required", "Read it first and send its ETag as If-Match."
    ),
    "too-many-requests": Kind(429, "Too many requests", "Wait as long as Retry-After says."),
    "internal-error": Kind(
        500, "Internal error", "Report the request id; the log tells what happened."
    ),
    "storage-full": Kind(507, "The disk is full", "Tell the operator; repeat when there is room."),
    "unavailable": Kind(503, "Not available at the moment", "Repeat after Retry-After seconds."),
}

# The code for a bare HTTP status; the first kind of a status is its general one.
_BY_STATUS = {kind.status: code for code, kind in reversed(list(KINDS.items()))}
# An error class answers with its own code, which must be a kind; a subclass without one, with
# that of its nearest ancestor here.
_BY_ERROR: Sequence[tuple[type[errors.TraceholdError], str]] = (
    (errors.UnknownReference, "unknown-reference"),
    (errors.InvalidRecord, "invalid-record"),
    (errors.NotFound, "not-found"),
    (errors.Conflict, "conflict"),
    (errors.StaleVersion, "stale-version"),
    (errors.Forbidden, "forbidden"),
    (errors.TooLarge, "body-too-large"),
)
_READ_ONLY = ("25006", "SQLITE_READONLY")
_UNIQUE_VIOLATIONS = ("23505", "SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY")


class Problem(Exception):
    """Raised by the web layer itself: one of ``KINDS`` with its detail and extra headers.

    ``more`` are further members of the answer (RFC 9457, 3.2).
    """

    def __init__(
        self,
        code: str,
        detail: str,
        issues: Sequence[Issue] = (),
        headers: Mapping[str, str] | None = None,
        more: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.issues = tuple(issues)
        self.headers = dict(headers or {})
        self.more = dict(more or {})


def answer(
    code: str,
    detail: str,
    found: Sequence[Issue | Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    status: int | None = None,
    more: Mapping[str, Any] | None = None,
) -> Response:
    """The problem answer; ``status`` only for an HTTP status that has no kind of its own."""
    kind = KINDS[code]
    body: dict[str, Any] = {
        "type": f"/problems/{code}",
        "title": kind.title if status is None else HTTPStatus(status).phrase,
        "status": kind.status if status is None else status,
        "detail": detail,
        "instance": request_id(),
        "errors": [_shown(issue) for issue in found[:MAX_ISSUES]],
    }
    if len(found) > MAX_ISSUES:
        body["errors_total"] = len(found)
    body |= more or {}
    response = Response(dumps(body), body["status"], mimetype=CONTENT_TYPE)
    for name, value in (headers or {}).items():
        response.headers[name] = value
    return response


def _shown(issue: Issue | Mapping[str, str]) -> Mapping[str, int | str]:
    if not isinstance(issue, Issue):
        return issue
    shown = {"pointer": issue.pointer, **(issue.at or {}), "detail": issue.detail}
    if issue.remedy:
        shown["remedy"] = issue.remedy
    if issue.value is not None:
        shown["value"] = issue.value
    if issue.code is not None:
        shown["code"] = issue.code
    if issue.weight is not None:
        shown["weight"] = issue.weight
    return shown


def of_problem(error: Problem) -> Response:
    """Answer to a problem raised by the web layer."""
    return answer(error.code, error.detail, error.issues, error.headers, more=error.more)


def of_domain_error(error: errors.TraceholdError) -> Response:
    """Answer to an error of the domain."""
    if error.code in KINDS:
        return answer(error.code, error.detail, error.issues)
    for family, code in _BY_ERROR:
        if isinstance(error, family):
            return answer(code, error.detail, error.issues)
    return of_unforeseen(error)


def of_malformed_json(error: MalformedJson) -> Response:
    """Answer to a body that is not JSON with one meaning, or more of it than is read."""
    code = "limit-exceeded" if isinstance(error, ExcessiveJson) else "malformed-json"
    return answer(code, f"The body cannot be read: {error}.", [Issue("", str(error))])


def of_http_error(error: HTTPException) -> Response:
    """Answer to what Flask, Werkzeug or webargs raised."""
    status = error.code or 500
    data: Mapping[str, Any] = getattr(error, "data", None) or {}
    headers = {k: v for k, v in error.get_headers(request.environ) if k.lower() != "content-type"}
    headers.update(data.get("headers") or {})
    if status == 500:
        return of_unforeseen(getattr(error, "original_exception", None) or error)
    code = _BY_STATUS.get(status)
    if "messages" in data and status == 422:
        found = issues_of(data["messages"], getattr(error, "exc", None))
        return answer("invalid-request", _summary(found), found, headers)
    detail = str(data.get("message") or _detail(error, status))
    if code is not None:
        return answer(code, detail, (), headers)
    return answer("bad-request" if status < 500 else "unavailable", detail, (), headers, status)


def _detail(error: HTTPException, status: int) -> str:
    if error.description is not None and error.description != type(error).description:
        return error.description
    ours = _DETAILS.get(status)
    if ours is None:
        return error.description or error.name
    most = request.max_content_length
    return ours.format(method=request.method, path=request.path, most=most)


def of_database_error(error: Exception) -> Response:
    """Answer to a lost race (409 or 412), an unreachable database (503) or a fault of ours."""
    if isinstance(error, StaleDataError):
        return answer("stale-version", "Somebody else changed it at the same time.")
    if isinstance(error, IntegrityError):
        if native_name(error) in _UNIQUE_VIOLATIONS:
            return answer("conflict", "Somebody else recorded the same identity at the same time.")
        return of_unforeseen(error)
    log.error("database not available, request %s", request_id(), exc_info=error)
    name = native_name(error)
    if name in NO_ROOM:
        return answer("storage-full", "The disk of the database is full; nothing was changed.")
    if name.startswith(_READ_ONLY):
        return answer("unavailable", "The database is read-only at present; nothing was changed.")
    if not isinstance(error, OperationalError):
        return of_unforeseen(error)
    return answer(
        "unavailable", "The database cannot be reached or is busy.", (), {"Retry-After": "2"}
    )


def of_unforeseen(error: BaseException) -> Response:
    """Answer to a fault of ours: no details, only the id under which the log tells them."""
    log.error("unforeseen error, request %s", request_id(), exc_info=error)
    return answer("internal-error", "Something went wrong on the server; it is in its log.")


def _summary(found: Sequence[Mapping[str, str]]) -> str:
    if len(found) != 1:
        return f"{len(found)} faults in what was sent."
    only = found[0]
    where = only.get("pointer") or only.get("parameter") or "the body"
    return f"{where}: {only['detail']}."


_DETAILS = {
    404: "There is nothing at {path}.",
    405: "{path} does not offer {method}.",
    413: "The body is larger than this address accepts, which is {most} bytes.",
}


def install(app: Flask) -> None:
    """Answer every error of the app with problem details."""
    app.register_error_handler(Problem, of_problem)
    app.register_error_handler(errors.TraceholdError, of_domain_error)
    app.register_error_handler(MalformedJson, of_malformed_json)
    app.register_error_handler(HTTPException, of_http_error)
    for database_error in (StaleDataError, IntegrityError, OperationalError, InternalError):
        app.register_error_handler(database_error, of_database_error)
    app.register_error_handler(Exception, of_unforeseen)
