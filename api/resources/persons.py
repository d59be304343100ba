"""Persons: who answers for changes, apart from the keys of programs.

Wherever a body says `by`, for itself or its override, the id of a person is kept as that person's
name, as with a key that speaks for one; a name that is nobody's id stands for itself.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.persons import PersonAnswerSchema, PersonChangeSchema, PersonSchema
from api.services.access import persons
from api.web import paging
from api.web.auth import forget_keys, requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("persons", __name__, url_prefix="/v1/persons", description=__doc__)
PersonPageSchema = paging.page_schema("PersonPage", PersonAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, PersonPageSchema)
def list_persons(query: dict[str, Any]) -> Any:
    """List persons by id."""
    with reading() as session:
        found, key = persons.find(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("admin")
@idempotent
@blp.arguments(PersonSchema)
@blp.response(201, PersonAnswerSchema)
def record_person(person: dict[str, Any]) -> Any:
    """Record a person."""
    with writing() as session:
        shown = persons.answer(persons.create(session, person, now_us()))
    return shown, 201, _headers(shown)


@blp.route("/<path:person_id>")
@requires("read")
@blp.response(200, PersonAnswerSchema)
def show_person(person_id: str) -> Any:
    """Show one person."""
    with reading() as session:
        shown = persons.answer(persons.get(session, person_id))
    return shown, 200, _headers(shown)


@blp.route("/<path:person_id>", methods=["PATCH"])
@requires("admin")
@needs_if_match
@blp.arguments(PersonChangeSchema)
@blp.response(200, PersonAnswerSchema)
def change_person(changes: dict[str, Any], person_id: str) -> Any:
    """Change what is known of a person; one who is not active can do nothing more."""
    with writing() as session:
        found = persons.get(session, person_id)
        check_if_match(etag_of(found.code, found.version))
        shown = persons.answer(persons.change(session, found, changes))
    forget_keys()
    return shown, 200, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "ETag": etag_of(shown["id"], shown["version"]),
        "Location": f"/v1/persons/{quote(shown['id'], safe='')}",
    }
