"""A browser that asks for what is not there gets a page in plain words, with a way back.

Programs get problem details: below /v1 always, elsewhere unless they ask for HTML. Pages answer
their own errors (`api.pages.layout.pages`); this is for addresses that belong to none of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask, Response, request
from werkzeug.exceptions import MethodNotAllowed, NotFound

from api.pages.layout import ANSWERS, as_page
from api.pages.sessions import signed_in
from api.web.problems import CONTENT_TYPE

# What a caller without a wish gets stands first.
OFFERED = (CONTENT_TYPE, "application/json", "text/html")


def install(app: Flask) -> None:
    """Answer browsers with pages; after the app answers everybody with problem details."""
    for error, answer in ANSWERS:
        app.register_error_handler(error, _chosen(answer))


def _chosen(answer: Callable[[Any], Response]) -> Callable[[Any], Response]:
    page = as_page(answer)

    def answered(error: Any) -> Response:
        if not _wants_page():
            return answer(error)
        if isinstance(error, NotFound | MethodNotAllowed):
            signed_in()  # for the way back; where something else is wrong it might fail as well
        return page(error)

    return answered


def _wants_page() -> bool:
    if request.path == "/v1" or request.path.startswith("/v1/"):
        return False
    return request.accept_mimetypes.best_match(OFFERED) == "text/html"
