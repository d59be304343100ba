"""The application under trial: requests are sent one by one, each at its own second, and kept."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.exceptions import HTTPException
from werkzeug.test import TestResponse

from tests.bench.answers_kept import Book
from tests.bench.answers_still import Clock

ALL = "all"


@dataclass
class Trial:
    """An application, keys by name (`all` holds every scope), and the book of its answers."""

    app: Flask
    clock: Clock
    book: Book
    keys: dict[str, str]
    # Statuses seen of each operation, as the OpenAPI document names it.
    seen: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))
    # Right requests with a body, to be bent later: method, address, body.
    bodies: list[tuple[str, str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.client: FlaskClient = self.app.test_client(use_cookies=False)

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        key: str | None = ALL,
        headers: Mapping[str, str] | None = None,
        name: str | None = None,
        client: FlaskClient | None = None,
        form: Mapping[str, Any] | None = None,
        note: str = "",
    ) -> TestResponse:
        """Send a request and keep its answer.

        `body` is bytes or JSON; `form` is sent as a form. The answer is kept under method and
        address (or `name`), the key where it is not `all`, and a `note`.
        """
        sent = dict(headers or {})
        if key is not None:
            sent["Authorization"] = f"Bearer {self.keys[key]}"
        options: dict[str, Any] = {}
        if form is not None:
            options["data"] = form
        elif body is not None:
            options["data"] = body if isinstance(body, bytes) else json.dumps(body)
            sent.setdefault("Content-Type", "application/json")
        self.clock.move()
        answer = (client or self.client).open(path, method=method, headers=sent, **options)
        told = answer.get_data()
        self.seen[self.operation(method, path)].add(answer.status_code)
        asked = repr((method, path, sorted(sent.items()), options)).encode()
        called = name or " ".join(
            filter(None, [method, path, "" if key == ALL else f"({key or 'no key'})", note])
        )
        self.book.keep(called, asked, answer.status_code, told, answer.headers.items())
        if answer.status_code < 300 and body is not None and not isinstance(body, bytes):
            self.bodies.append((method, path, body))
        return answer

    def made(self, path: str, body: Any) -> Any:
        """What a POST makes; raises RuntimeError if it is refused, since more rests on it."""
        answer = self.ask("POST", path, body)
        if answer.status_code >= 300:
            raise RuntimeError(f"POST {path}: {answer.status_code} {answer.text[:500]}")
        return answer.get_json()

    def change(self, path: str, body: Any, **options: Any) -> TestResponse:
        """Send a PATCH against the version that is there."""
        headers = {"If-Match": self.tag(path)}
        return self.ask("PATCH", path, body, headers=headers, **options)

    def tag(self, path: str) -> str:
        """ETag of what is there now."""
        return self.ask("GET", path, note="before a change").headers.get("ETag", '"1"')

    def json(self, path: str) -> Any:
        """JSON that an address answers; raises RuntimeError if it is refused."""
        answer = self.ask("GET", path)
        if answer.status_code != 200:
            raise RuntimeError(f"GET {path}: {answer.status_code} {answer.text[:300]}")
        return json.loads(answer.text)

    def every(self, path: str) -> list[Any]:
        """All items of a list, page by page."""
        found: list[Any] = []
        following: str | None = f"{path}{'&' if '?' in path else '?'}limit=100"
        while following is not None:
            page = self.json(following)
            found += page["items"]
            following = page["next"]
        return found

    def operation(self, method: str, path: str) -> str:
        """Method and template of an address, such as ``GET /v1/items/{item_id}``."""
        adapter = self.app.url_map.bind("localhost")
        try:
            rule, _ = adapter.match(path.partition("?")[0], method=method, return_rule=True)
        except HTTPException:
            return f"{method} {path}"
        return f"{method} {template(rule.rule)}"


def template(rule: str) -> str:
    """An address of Flask's with its places as OpenAPI writes them."""
    return re.sub(r"<(?:[^:<>]+:)?([^<>]+)>", r"{\1}", rule)
