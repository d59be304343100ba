"""The Blueprint of every resource: our JSON reader, typed decorators, scopes in the OpenAPI.

Decorators of a view, from the outside in: ``@blp.route``, ``@requires``, ``@idempotent``,
``@blp.arguments``, ``@blp.response``. Unknown query parameters are refused like unknown fields.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial, wraps
from http import HTTPStatus
from typing import Any, TypeVar

import flask
import flask_smorest
from flask_smorest.utils import set_status_and_headers_in_response, unpack_tuple_response
from marshmallow import RAISE, ValidationError
from webargs.core import missing
from webargs.flaskparser import FlaskParser, is_json_request
from werkzeug.exceptions import UnsupportedMediaType

from api.errors import TooLarge
from api.web.json import ExcessiveJson, dumps, loads
from api.web.named_persons import named

# Values in the body of a request that is not bulk; elements of a list within a record that is.
MAX_VALUES, MAX_LIST = 100_000, 10_000
View = TypeVar("View", bound=Callable[..., Any])


class BodyParser(FlaskParser):
    """Reads bodies with ``api.web.json``; a body of another media type is 415, not ignored."""

    def __init__(self) -> None:
        super().__init__()
        self.DEFAULT_UNKNOWN_BY_LOCATION = {**self.DEFAULT_UNKNOWN_BY_LOCATION, "query": RAISE}

    def _raw_load_json(self, req: flask.Request) -> Any:
        body = req.get_data(cache=True)
        if not body:
            return missing
        usual = req.environ.get("CONTENT_TYPE") == "application/json"
        if not (usual or is_json_request(req)):
            raise UnsupportedMediaType("Send the body with Content-Type: application/json.")
        if not is_bulk(req):
            return loads(body, MAX_VALUES)
        document = loads(body)
        _check_bulk(document)
        return document

    def load(self, schema: Any, req: flask.Request, location: str) -> Any:
        """Load a body or query by a schema as ``parse`` does; a body without its detours."""
        if location != "json":
            return self.parse(schema, req, location=location)
        body = self.load_json(req, schema)
        if body is missing:
            return self.parse(schema, req, location=location)
        try:
            return schema.load(body)
        except ValidationError as error:
            error.messages = {location: error.messages}
            self.handle_error(error, req, schema, error_status_code=None, error_headers=None)


class Blueprint(flask_smorest.Blueprint):  # type: ignore[misc]  # it publishes no types
    """flask-smorest's Blueprint with our parser and with scopes in the documentation."""

    ARGUMENTS_PARSER = BodyParser()

    def __init__(self, name: str, import_name: str, **options: Any) -> None:
        super().__init__(name, import_name, **options)
        self._prepare_doc_cbks.append(_document_security)

    def register_views_in_doc(self, api: Any, *args: Any, **options: Any) -> None:
        """Leave word of the views; the document is written when it is asked for."""
        api.write_later(partial(super().register_views_in_doc, api, *args, **options))

    def route(self, rule: str, **options: Any) -> Callable[[View], View]:
        """Serve a view at an address; see Flask."""
        decorator: Callable[[View], View] = super().route(rule, **options)
        return decorator

    def arguments(
        self, schema: Any, *, location: str = "json", **documentation: Any
    ) -> Callable[[View], View]:
        """Parse body or query (``location="query"``) by a schema; see flask-smorest.

        The schema is made once, not at each request, which is most of webargs' cost.
        """
        made = schema() if isinstance(schema, type) else schema
        document = super().arguments(made, location=location, **documentation)

        def decorate(view: View) -> View:
            @wraps(document(view))
            def parsed(*args: Any, **kwargs: Any) -> Any:
                sent = self.ARGUMENTS_PARSER.load(made, flask.request, location)
                if location == "json":
                    sent = named(sent)
                return view(*args, sent, **kwargs)

            return parsed  # type: ignore[return-value]  # one argument less is what it is for

        return decorate

    def response(
        self, status_code: int, schema: Any = None, **documentation: Any
    ) -> Callable[[View], View]:
        """Dump what a view returns by a schema; a Response it returns is only documented so."""
        made = schema() if isinstance(schema, type) else schema
        document = super().response(status_code, made, **documentation)

        def decorate(view: View) -> View:
            @wraps(document(view))
            def answered(*args: Any, **kwargs: Any) -> flask.Response:
                return _response(view(*args, **kwargs), status_code, made)

            return answered  # type: ignore[return-value]  # views become responses

        return decorate

    def alt_response(self, status_code: int, *args: Any, **options: Any) -> Callable[[View], View]:
        """Document another answer; see flask-smorest."""
        return _documenting(super().alt_response(status_code, *args, **options))

    @staticmethod
    def doc(**facts: Any) -> Callable[[View], View]:
        """Add facts to the operation in the OpenAPI document; see flask-smorest."""
        return _documenting(flask_smorest.Blueprint.doc(**facts))


def _response(returned: Any, status_code: int, schema: Any) -> flask.Response:
    body, status, headers = unpack_tuple_response(returned)
    if isinstance(body, flask.Response):
        set_status_and_headers_in_response(body, status, headers)
        return body
    if schema is not None:
        body = schema.dump(body)
    status = status or status_code
    content = b"" if status == HTTPStatus.NO_CONTENT else dumps(body)
    response = flask.Response(content, status, mimetype="application/json")
    if headers:
        response.headers.extend(headers)
    return response


def _documenting(decorator: Callable[[Any], Any]) -> Callable[[View], View]:
    def decorate(view: View) -> View:
        # Only the facts are wanted, not the wrapper that flask-smorest puts around the view.
        documented: Any = view
        documented._apidoc = decorator(view)._apidoc
        return view

    return decorate


def mark(view: Any, **facts: Any) -> None:
    """Leave facts on a view, for the documentation and for whoever looks before it is called.

    They are ``scope``, ``customers``, ``idempotent``, ``if_match`` and ``bulk``.
    """
    documented = dict(getattr(view, "_apidoc", {}))
    documented["tracehold"] = {**documented.get("tracehold", {}), **facts}
    view._apidoc = documented


def takes_bulk(view: View) -> View:
    """Let a view's body be as long as the server accepts at all; others take a record's size."""
    mark(view, bulk=True)
    return view


def is_bulk(req: flask.Request) -> bool:
    """Whether the view of a request takes bulk."""
    view = flask.current_app.view_functions.get(req.endpoint or "")
    return bool(getattr(view, "_apidoc", {}).get("tracehold", {}).get("bulk"))


def _check_bulk(document: Any) -> None:
    """Refuse too many records before any is looked at; a million bad ones have as many faults."""
    if not isinstance(document, dict):
        return
    lists = [value for value in document.values() if isinstance(value, list)]
    most = flask.current_app.config["MAX_IMPORT_RECORDS"]
    if sum(map(len, lists)) > most:
        raise TooLarge(f"The file has more than {most} records.")
    waiting = [record for records in lists for record in records]
    while waiting:
        node = waiting.pop()
        if isinstance(node, list) and len(node) > MAX_LIST:
            raise ExcessiveJson(f"a list within a record has more than {MAX_LIST} elements")
        if isinstance(node, dict | list):
            inner = node.values() if isinstance(node, dict) else node
            waiting += [one for one in inner if isinstance(one, dict | list)]


def _document_security(doc: Any, doc_info: Any, **_: Any) -> Any:
    facts = doc_info.get("tracehold", {})
    if "scope" in facts:
        doc["security"] = [{"apiKey": []}]
        doc["x-scope"] = facts["scope"]
        doc["x-customer-keys"] = facts["customers"]
    headers = []
    if facts.get("idempotent"):
        headers.append(
            _header("Idempotency-Key", False, "Makes a retry safe: same key, same answer")
        )
    if "if_match" in facts:
        said = "ETag of the version that is to be changed"
        headers.append(_header("If-Match", facts["if_match"] == "needed", said))
    if headers:
        doc["parameters"] = [*doc.get("parameters", []), *headers]
    return doc


def _header(name: str, required: bool, description: str) -> dict[str, Any]:
    return {
        "in": "header",
        "name": name,
        "required": required,
        "description": description,
        "schema": {"type": "string"},
    }
