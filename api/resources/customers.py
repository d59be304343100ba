"""Customers, named as on their certificates."""

from __future__ import annotations

from typing import Any

from api.schemas.customers import CustomerAnswerSchema, CustomerChangeSchema, CustomerSchema
from api.services.records import customers
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("customers", __name__, url_prefix="/v1/customers", description=__doc__)
CustomerPageSchema = paging.page_schema("CustomerPage", CustomerAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, CustomerPageSchema)
def list_customers(query: dict[str, Any]) -> Any:
    """List customers by name; importing a certificate records its customer."""
    with reading() as session:
        found, key = customers.find(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CustomerSchema)
@blp.response(201, CustomerAnswerSchema)
def record_customer(customer: dict[str, Any]) -> Any:
    """Record a customer with its contact."""
    with writing() as session:
        shown = customers.answer(customers.create(session, customer))
    return shown, 201, _headers(shown)


@blp.route("/<int:customer_id>")
@requires("read")
@blp.response(200, CustomerAnswerSchema)
def show_customer(customer_id: int) -> Any:
    """Show one customer."""
    with reading() as session:
        shown = customers.answer(customers.get(session, customer_id))
    return shown, 200, _headers(shown)


@blp.route("/<int:customer_id>", methods=["PATCH"])
@requires("record")
@needs_if_match
@blp.arguments(CustomerChangeSchema)
@blp.response(200, CustomerAnswerSchema)
def change_customer(changes: dict[str, Any], customer_id: int) -> Any:
    """Change how a customer is reached."""
    with writing() as session:
        found = customers.get(session, customer_id)
        check_if_match(etag_of(found.id, found.version))
        shown = customers.answer(customers.change(session, found, changes))
    return shown, 200, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "ETag": etag_of(shown["id"], shown["version"]),
        "Location": f"/v1/customers/{shown['id']}",
    }
