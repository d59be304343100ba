"""Class tables: limits of the classes of force instruments as data.

Those that are shipped are from memory and must be verified, as their `source` says.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.class_tables import ClassTableAnswerSchema, NewClassTableSchema
from api.schemas.decision_rules import VersionQuerySchema
from api.services.uncertainty import class_tables
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "class-tables",
    __name__,
    url_prefix="/v1/class-tables",
    description=__doc__,
)
ClassTablePageSchema = paging.page_schema("ClassTablePage", ClassTableAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, ClassTablePageSchema)
def list_class_tables(query: dict[str, Any]) -> Any:
    """List the latest version of every class table, shipped or recorded."""
    with reading() as session:
        found, key = class_tables.list_tables(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("admin")
@idempotent
@blp.arguments(NewClassTableSchema)
@blp.response(201, ClassTableAnswerSchema)
@blp.alt_response(200, schema=ClassTableAnswerSchema, description="Recorded already, unchanged")
def record_class_table(new: dict[str, Any]) -> Any:
    """Record a class table, or the next version of one; recorded versions never change."""
    with writing() as session:
        shown, created = class_tables.record_table(session, new, now_us())
    location = f"/v1/class-tables/{quote(shown['id'], safe='')}?version={shown['version']}"
    return shown, 201 if created else 200, {"Location": location}


@blp.route("/<path:table_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, ClassTableAnswerSchema)
def show_class_table(query: dict[str, Any], table_id: str) -> Any:
    """Show one class table, in its latest version or in the one asked for."""
    with reading() as session:
        return class_tables.get_table(session, table_id, query.get("version"))
