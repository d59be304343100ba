"""What can go wrong between a program and the server, as exceptions to switch on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import requests

URL_VARIABLE = "TRACEHOLD_URL"


@dataclass(frozen=True, slots=True)
class Issue:
    """One thing wrong in what was sent.

    Attributes
    ----------
    detail : str
        What is wrong.
    pointer, parameter : str or None
        Where it is: a JSON pointer (RFC 6901) into the body, or a parameter of the query.
    remedy : str or None
        What to do.
    value : str or None
        What was sent there.
    line : int or None
        The line, in lines sent.
    file : str or None
        The file, in files sent.
    row : int or None
        Its row.
    column : str or None
        Its column.
    """

    detail: str
    pointer: str | None = None
    parameter: str | None = None
    remedy: str | None = None
    value: str | None = None
    line: int | None = None
    file: str | None = None
    row: int | None = None
    column: str | None = None


class ApiError(Exception):
    """A request that was not fulfilled; switch on the class or on ``type``, never on the words.

    Parameters
    ----------
    detail : str
        What is wrong, in words.
    status : int
        Of HTTP; 0 where no answer came.
    type : str
        Code of the kind of problem, such as ``unknown-reference``.
    title : str
        The kind of problem in words.
    errors : sequence of Issue
        Everything that is wrong.
    request_id : str, optional
        Finds the request in the server's log.
    retry_after : str, optional
        ``Retry-After`` as the server sent it (RFC 9110, 10.2.3).
    transient : bool
        Whether the same request may succeed later.
    report : mapping, optional
        What an import of CSV files found.
    """

    def __init__(
        self,
        detail: str,
        *,
        status: int = 0,
        type: str = "",
        title: str = "",
        errors: Sequence[Issue] = (),
        request_id: str | None = None,
        retry_after: str | None = None,
        transient: bool = False,
        report: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.detail = detail
        self.status = status
        self.type = type
        self.title = title
        self.errors = tuple(errors)
        self.request_id = request_id
        self.retry_after = retry_after
        self.transient = transient
        self.report = report


class InvalidRequest(ApiError):
    """What was sent cannot be accepted as it is (400, 422 and the other 4xx)."""


class Unauthorized(ApiError):
    """No valid API key (401)."""


class Forbidden(ApiError):
    """The key may not do this (403)."""


class NotFound(ApiError):
    """There is nothing of that name (404)."""


class Conflict(ApiError):
    """The same identity is recorded with other content, or its state forbids it (409)."""


class Stale(ApiError):
    """It changed since it was read (412); read it again."""


class ServerError(ApiError):
    """The server could not do it (5xx), or not now (429), even after repeats."""


class Unreachable(ApiError):
    """No answer came: no connection, a timeout, or something else than Tracehold there."""


_PLACES = ("pointer", "parameter", "remedy", "value", "line", "file", "row", "column")
_PASSING = frozenset({429, 502, 503, 504})
_CLASSES: Mapping[int, type[ApiError]] = {
    401: Unauthorized,
    403: Forbidden,
    404: NotFound,
    409: Conflict,
    412: Stale,
    429: ServerError,
}


def problem_of(response: requests.Response) -> ApiError:
    """Error for an answer that is no success; proxies answer without problem details."""
    status = response.status_code
    if response.is_redirect:
        target = response.headers["Location"]
        detail = f"{response.url} redirects to {target}; set {URL_VARIABLE} to the final address"
        return Unreachable(detail, status=status)
    try:
        found = json.loads(response.content)
    except ValueError:
        found = None
    body: Mapping[str, Any] = found if isinstance(found, dict) else {}
    kind = _CLASSES.get(status, ServerError if status >= 500 else InvalidRequest)
    found_type = str(body.get("type", "")).rpartition("/")[2]
    listed = body.get("errors")
    return kind(
        str(body.get("detail") or f"{response.url} answered {status} {response.reason}"),
        status=status,
        type=found_type,
        title=str(body.get("title") or response.reason or ""),
        errors=[
            Issue(
                str(one.get("detail", "")),
                *(one.get(name) for name in _PLACES),
            )
            for one in (listed if isinstance(listed, list) else ())
            if isinstance(one, dict)
        ],
        request_id=response.headers.get("X-Request-Id"),
        retry_after=response.headers.get("Retry-After"),
        transient=status in _PASSING or found_type == "request-running",
        report=body.get("report"),
    )
