"""The documentation of the API as pages: every operation and what it needs.

Rendered on the server from the OpenAPI document, with one style sheet of ours: it works without
the internet and without scripts. ``/problems/<code>`` explains each kind of problem.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from flask import Blueprint, Response, abort, current_app, render_template
from markupsafe import Markup, escape

from api.web.problems import KINDS

blp = Blueprint(
    "docs", __name__, template_folder="templates", static_folder="static", static_url_path="/assets"
)
METHODS = ("get", "post", "put", "patch", "delete")
Schema = dict[str, Any]


@blp.route("/v1/docs")
def documentation() -> Response:
    """Show all operations and schemas."""
    spec = current_app.extensions["tracehold.openapi"].document()
    groups: dict[str, list[dict[str, Any]]] = {}
    for operation in operations(spec):
        groups.setdefault(operation["tag"], []).append(operation)
    page = render_template(
        "docs.html",
        info=spec["info"],
        about={tag["name"]: tag.get("description", "") for tag in spec.get("tags", [])},
        groups=groups,
        schemas=spec.get("components", {}).get("schemas", {}),
    )
    return Response(page, mimetype="text/html")


@blp.route("/problems/<code>")
def problem(code: str) -> Response:
    """Explain one kind of problem."""
    if code not in KINDS:
        abort(404)
    page = render_template("problem.html", code=code, kind=KINDS[code], kinds=KINDS)
    return Response(page, mimetype="text/html")


def operations(spec: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Operations of an OpenAPI document, flattened for the template, in its order."""
    for path, entry in spec["paths"].items():
        for method in METHODS:
            if method not in entry:
                continue
            found = entry[method]
            body = found.get("requestBody", {})
            yield {
                "anchor": re.sub(r"[^a-z0-9]+", "-", f"{method}{path}".lower()).strip("-"),
                "method": method.upper(),
                "path": path,
                "tag": (found.get("tags") or ["other"])[0],
                "summary": found.get("summary", ""),
                "description": found.get("description", ""),
                "scope": found.get("x-scope"),
                "customers": found.get("x-customer-keys", False),
                "parameters": [
                    _resolved(spec, p)
                    for p in entry.get("parameters", []) + found.get("parameters", [])
                ],
                "body": list(_contents(body)),
                "responses": [
                    {"status": status, **_response(_resolved(spec, response))}
                    for status, response in sorted(found.get("responses", {}).items())
                ],
            }


def _response(response: dict[str, Any]) -> dict[str, Any]:
    return {"description": response.get("description", ""), "contents": list(_contents(response))}


def _contents(holder: dict[str, Any]) -> Iterator[tuple[str, Schema]]:
    for content_type, content in holder.get("content", {}).items():
        yield content_type, content.get("schema", {})


def _resolved(spec: dict[str, Any], node: Any) -> dict[str, Any]:
    found: Any = node
    if isinstance(node, dict) and "$ref" in node:
        found = spec
        for part in node["$ref"].removeprefix("#/").split("/"):
            found = found[part]
    return dict(found)


@blp.app_template_filter("schema_type")
def schema_type(schema: Schema) -> Markup:
    """Type of a schema in words; a named schema links to its own section."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        return Markup('<a href="#schema-{0}">{0}</a>').format(name)
    for keyword, joint in (("allOf", " and "), ("anyOf", " or "), ("oneOf", " or ")):
        if keyword in schema:
            return Markup(joint).join(schema_type(part) for part in schema[keyword])
    kind = schema.get("type", "any value")
    kinds = kind if isinstance(kind, list) else [kind]
    if "array" in kinds:
        return Markup("list of ") + schema_type(schema.get("items", {}))
    words = Markup(" or ").join(kinds)
    if "format" in schema:
        words += Markup(" ({})").format(schema["format"])
    if "enum" in schema:
        words += Markup(": ") + Markup(", ").join(str(v) for v in schema["enum"])
    return words


@blp.app_template_filter("prose")
def prose(text: str) -> Markup:
    """Paragraphs and ``- `` lists of a description, with ``**strong**`` and `` `code` ``."""
    return Markup("\n").join(map(_block, re.split(r"\n\s*\n", text.strip())))


def _block(block: str) -> Markup:
    if not block.startswith("- "):
        return Markup("<p>{}</p>").format(_marked(block))
    points = (_marked(point) for point in re.split(r"^- ", block, flags=re.MULTILINE)[1:])
    return Markup("<ul>{}</ul>").format(Markup().join(map(Markup("<li>{}</li>").format, points)))


def _marked(text: str) -> Markup:
    marked = str(escape(text.strip()))
    marked = re.sub(r"\*\*(.+?)\*\*", r"<strong>\1</strong>", marked)
    return Markup(re.sub(r"``?(.+?)``?", r"<code>\1</code>", marked))
