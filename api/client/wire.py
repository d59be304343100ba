"""How a request gets there and its answer back, with every digit.

Numbers with a fraction are read as Decimal; Decimals are sent as text, and a float is refused,
because its digits are not those that were meant. Each POST carries an ``Idempotency-Key`` and is
sent again, with the same key, after a dropped connection and after 429, 502, 503 and 504, a few
times and no more. A PATCH is not repeated: it carries the version that it changes.
"""

from __future__ import annotations

import email.utils
import ipaddress
import itertools
import json
import os
import random
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote, urlsplit

import requests
from requests.auth import AuthBase
from requests.exceptions import ChunkedEncodingError
from urllib3.filepost import encode_multipart_formdata

from api.client.errors import URL_VARIABLE, ApiError, Unauthorized, Unreachable, problem_of

DEFAULT_URL = "http://127.0.0.1:8000"
KEY_VARIABLE = "TRACEHOLD_API_KEY"

_DROPPED = (requests.ConnectionError, ChunkedEncodingError)
_ACCEPT = "application/json, application/problem+json"
_FIRST_WAIT_S = 0.25
_LONGEST_WAIT_S = 30.0
_PAGE = 500

Json = Mapping[str, Any]
Source = Json | bytes | Path


class Answer(dict[str, Any]):
    """A JSON object as it was answered.

    Numbers with a fraction are Decimals.

    Parameters
    ----------
    fields : mapping
        The object.
    etag : str, optional
        Names the version that a change must send.
    """

    def __init__(self, fields: Json, etag: str | None = None) -> None:
        super().__init__(fields)
        self.etag = etag


class Wire:
    """Sends requests to one server and reads the answers; see ``Client``."""

    def __init__(
        self,
        url: str | None = None,
        key: str | None = None,
        timeout: float = 120.0,
        retries: int = 4,
    ) -> None:
        self.url = (url or os.environ.get(URL_VARIABLE) or DEFAULT_URL).rstrip("/")
        self.timeout = timeout
        self.retries = retries
        self._session = requests.Session()
        self._session.auth = _Bearer((key or os.environ.get(KEY_VARIABLE) or "").strip())
        # A proxy that is set for the network has no business between two programs of one machine.
        self._session.trust_env = not _is_this_machine(self.url)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._session.close()

    def _get(self, path: str, query: Mapping[str, str] | None = None) -> Answer:
        return _answer(self._send("GET", path, query=query))

    def _post(
        self,
        path: str,
        body: bytes | Upload,
        content_type: str = "application/json",
        query: Mapping[str, str] | None = None,
        read: Answer | None = None,
    ) -> Answer:
        headers = {"Content-Type": content_type, "Idempotency-Key": str(uuid.uuid4())}
        headers |= _if_match(read) if read is not None else {}
        return _answer(self._send("POST", path, headers, body, query))

    def _patch(self, path: str, read: Answer, changes: Json) -> Answer:
        headers = {"Content-Type": "application/json", **_if_match(read)}
        return _answer(self._send("PATCH", path, headers, encoded(changes)))

    def _file(self, path: str, query: Mapping[str, str] | None = None) -> bytes:
        return self._send("GET", path, {"Accept": "*/*"}, query=query).content

    def _pages(self, path: str, filters: Mapping[str, str]) -> Iterator[Answer]:
        page = self._get(path, {**filters, "limit": str(_PAGE)})
        while True:
            yield from map(Answer, page["items"])
            following = page["next"]
            if following is None:
                return
            if not following.startswith("/"):
                raise Unreachable(f"the next page is not on this server: {following}")
            page = self._get(following)

    def _send(
        self,
        method: str,
        path: str,
        headers: Mapping[str, str] | None = None,
        body: bytes | Upload | None = None,
        query: Mapping[str, str] | None = None,
    ) -> requests.Response:
        """Send a request, again where that may help and does no harm."""
        left = 0 if method == "PATCH" else self.retries
        for attempt in itertools.count():
            try:
                return self._attempt(method, path, headers, body, query)
            except ApiError as error:
                wait = _wait(attempt, error.retry_after)
                if not error.transient or attempt >= left or wait > _LONGEST_WAIT_S:
                    raise
            time.sleep(wait)
        raise AssertionError("the last attempt returns or raises")

    def _attempt(
        self,
        method: str,
        path: str,
        headers: Mapping[str, str] | None,
        body: bytes | Upload | None,
        query: Mapping[str, str] | None,
    ) -> requests.Response:
        try:
            with ExitStack() as stack:
                response = self._session.request(
                    method,
                    self.url + path,
                    params=query,
                    data=stack.enter_context(body) if isinstance(body, Upload) else body,
                    headers={"Accept": _ACCEPT, **(headers or {})},
                    timeout=self.timeout,
                    # A redirected POST would arrive as a GET.
                    allow_redirects=False,
                )
        except requests.Timeout as error:
            raise Unreachable(f"{self.url} did not answer in time", transient=True) from error
        except _DROPPED as error:
            detail = f"{self.url} cannot be reached; is the server running?"
            raise Unreachable(
                f"{detail} {URL_VARIABLE} names its address", transient=True
            ) from error
        except (requests.RequestException, ValueError) as error:
            raise Unreachable(f"{self.url} cannot be asked: {error}") from error
        if response.ok and not response.is_redirect:
            return response
        raise problem_of(response)


class Upload:
    """A file that is sent as it is read, from its beginning at each attempt.

    ``seen`` is told after each piece how many bytes were read.
    """

    def __init__(self, path: Path, seen: Callable[[int], None] | None = None) -> None:
        self.path = path
        self._seen = seen or (lambda _: None)

    def __enter__(self) -> Self:
        self._file = self.path.open("rb")
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __len__(self) -> int:
        return os.fstat(self._file.fileno()).st_size

    def read(self, size: int = -1) -> bytes:
        """Read the next piece."""
        piece = self._file.read(size)
        self._seen(self._file.tell())
        return piece


class _Bearer(AuthBase):
    """Sends the key; its presence also keeps requests from looking for another in ~/.netrc."""

    def __init__(self, key: str) -> None:
        if not (key.isascii() and key.isprintable()):
            raise Unauthorized(f"the API key holds characters that no key has; see {KEY_VARIABLE}")
        self.key = key

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        if self.key:
            request.headers["Authorization"] = f"Bearer {self.key}"
        return request


def _if_match(read: Answer) -> dict[str, str]:
    if read.etag is None:
        raise TypeError("read the record by itself first; its ETag names the version")
    return {"If-Match": read.etag}


def _answer(response: requests.Response) -> Answer:
    try:
        body = json.loads(response.content, parse_float=Decimal)
    except ValueError:
        body = None
    if not isinstance(body, dict):
        raise Unreachable(
            f"{response.url} answered with something else than a JSON object; is it Tracehold?",
            status=response.status_code,
        )
    return Answer(body, response.headers.get("ETag"))


def _wait(attempt: int, retry_after: str | None) -> float:
    """Seconds before the next attempt: what the server asks for, or longer each time; with jitter.

    ``Retry-After`` is a number of seconds or a date (RFC 9110, 10.2.3).
    """
    asked = 0.0
    if retry_after is not None and retry_after.isdecimal():
        asked = float(retry_after)
    elif retry_after is not None:
        try:
            asked = email.utils.parsedate_to_datetime(retry_after).timestamp() - time.time()
        except ValueError:
            asked = 0.0
    longest: float = _FIRST_WAIT_S * 2**attempt
    return max(asked, 0.0) + random.uniform(0.0, longest)


def encoded(value: Any) -> bytes:
    """JSON of a value, its Decimals as text; raises TypeError for a float."""
    return json.dumps(_sendable(value, ""), ensure_ascii=False, allow_nan=False).encode()


def _sendable(value: Any, place: str) -> Any:
    """Copy of a value with its Decimals as text; a float has no digits of its own."""
    if isinstance(value, float):
        raise TypeError(
            f"{place or 'the value'} is a float ({value!r}); send a Decimal or text, and read JSON "
            "files with parse_float=Decimal"
        )
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, Mapping):
        return {str(name): _sendable(part, f"{place}/{name}") for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_sendable(part, f"{place}/{number}") for number, part in enumerate(value)]
    return value


def read(source: bytes | Path) -> bytes:
    """Bytes as they are, or those of a file."""
    return source if isinstance(source, bytes) else source.read_bytes()


def form_of(parts: Mapping[str, tuple[str, bytes, str]]) -> tuple[bytes, str]:
    """Body and media type of a form whose parts are files: name, content and media type of each."""
    body, content_type = encode_multipart_formdata(dict(parts))
    return body, content_type


def path_part(text: str) -> str:
    """Text as one part of an address; certificate numbers may contain a slash."""
    return quote(text, safe="")


def named(issuer: str | None, revision: int | None) -> dict[str, str]:
    """Query that says which certificate of a number is meant."""
    query = {} if issuer is None else {"issuer": issuer}
    return query | ({} if revision is None else {"revision": str(revision)})


def _is_this_machine(url: str) -> bool:
    try:
        host = urlsplit(url).hostname or ""
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return url.partition("://")[2].partition(":")[0] == "localhost"
