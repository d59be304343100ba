"""Which class table was meant, and in which version? Recorded once, in numbered versions.

Choice: the tables that come with the program stand under their own ids, in the version that their
file says, and cannot be redefined; a laboratory that has the standard records its own under another
id. The same content as the latest version is not recorded again.

Not checked: that the figures are those of the document named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, UnknownReference
from api.rules.exact import FieldError
from api.rules.uncertainty.classes import ClassTable, shipped_tables, table_from_mapping
from api.services.base.record import Record
from api.services.base.texts import texted
from api.store import versions
from api.store.evaluations import ClassTable as Row

_REMEDY = "give classes with criteria, one limit a class, or lower_limits; see GET /v1/class-tables"


def resolve_table(
    session: Session, code: str, version: int | None = None, place: str = "/class_tables"
) -> ClassTable:
    """Return a class table by id, the latest version by default.

    Raises UnknownReference, whose remedy lists the known ids or versions.
    """
    shipped = shipped_tables().get(code)
    if shipped is not None and version in (None, shipped.version):
        return shipped
    row = None if shipped is not None else versions.find(session, Row, code, version)
    if row is not None:
        return table_from_mapping(row.definition, row.table_version)
    known = _versions(session, code)
    if known:
        detail = f'class table "{code}" has no version {version}'
        remedy = f"known versions: {', '.join(map(str, known))}"
    else:
        detail = f'class table "{code}" is not recorded'
        remedy = f"known class tables: {', '.join(_codes(session))}"
    raise UnknownReference(detail, [Issue(place, detail, remedy, code)])


def get_table(session: Session, code: str, version: int | None = None) -> Record:
    """Return a class table as it is answered, with its versions; raise NotFound."""
    try:
        table = resolve_table(session, code, version)
    except UnknownReference as unknown:
        raise NotFound(f"{unknown.detail}; {unknown.issues[0].remedy}") from None
    return {**answer(table), "versions": _versions(session, code)}


def list_tables(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], tuple[str] | None]:
    """Return the latest versions in the order of their ids, and the key to continue behind."""
    codes, key = versions.page_of(_codes(session), after, limit)
    return [answer(resolve_table(session, code)) for code in codes], key


def record_table(session: Session, sent: Mapping[str, Any], now_us: int) -> tuple[Record, bool]:
    """Record a class table, as version 1 or the next one; return it and whether it is new.

    Raises Conflict for the id of a shipped table, InvalidRecord for one that judges nothing.
    """
    content = texted(sent)
    code = content["id"]
    if code in shipped_tables():
        detail = f'"{code}" comes with the program and cannot be redefined'
        raise Conflict(detail, [Issue("/id", detail, "record the table under another id", code)])
    try:
        table = table_from_mapping(content)
    except FieldError as error:
        detail = str(error)
        raise InvalidRecord(detail, [Issue(error.field, detail, _REMEDY)]) from None
    version = 1
    while True:
        row = versions.find(session, Row, code)
        if row is not None:
            if row.definition == content:
                return answer(table_from_mapping(content, row.table_version)), False
            version = row.table_version + 1
        values = {"code": code, "table_version": version, "definition": content}
        if versions.insert(session, Row, {**values, "recorded_us": now_us}) is not None:
            return {**answer(table), "version": version}, True


def answer(table: ClassTable) -> Record:
    """Return a class table as the API shows it."""
    shipped = table.id in shipped_tables()
    return {**table.content, "version": table.version, "shipped": shipped}


def reference(table: ClassTable) -> Record:
    """Return what an answer says of the table it was judged by."""
    named = {
        name: table.content[name]
        for name in ("title", "edition", "source")
        if name in table.content
    }
    return {"id": table.id, "version": table.version, **named}


def _codes(session: Session) -> list[str]:
    return sorted({*versions.codes(session, Row), *shipped_tables()})


def _versions(session: Session, code: str) -> list[int]:
    shipped = shipped_tables().get(code)
    return versions.versions(session, Row, code) if shipped is None else [shipped.version]
