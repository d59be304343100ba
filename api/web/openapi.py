"""The OpenAPI document: written when it is first asked for, from what views and schemas say.

Most processes never show it (workers, commands, tests), and writing it takes several times as long
as joining the resources; so a blueprint only leaves word here of what it has to say.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import flask
import flask_smorest

from api.schemas.problem import ProblemSchema
from api.web import problems


class Api(flask_smorest.Api):  # type: ignore[misc]  # it publishes no types
    """flask-smorest's Api, with problem details as its one form of error."""

    ERROR_SCHEMA = ProblemSchema

    def __init__(self, app: flask.Flask) -> None:
        self._unwritten: list[Callable[[], None]] = []
        self._writing = threading.Lock()
        super().__init__(app)

    def write_later(self, write: Callable[[], None]) -> None:
        """Keep what adds to the document until it is asked for."""
        self._unwritten.append(write)

    def document(self) -> dict[str, Any]:
        """Return the whole document."""
        with self._writing:
            while self._unwritten:
                self._unwritten.pop(0)()
            written: dict[str, Any] = self.spec.to_dict()
        return written

    def _openapi_json(self) -> flask.Response:
        return flask.jsonify(self.document())

    def _register_error_handlers(self) -> None:
        problems.install(self._app)

    def _register_responses(self) -> None:
        super()._register_responses()
        # flask-smorest documents every error as application/json.
        for response in self.spec.components.responses_lazy.values():
            content = response.get("content", {})
            if "application/json" in content:
                content[problems.CONTENT_TYPE] = content.pop("application/json")
