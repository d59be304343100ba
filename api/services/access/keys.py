"""API keys: who may do what.

A key is ``th_<public id>_<secret>``: the public id finds the row, the secret is 256 random bits
(``secrets.token_urlsafe(32)``) and only its SHA-256 is stored. A slow password hash would protect
nothing here, because 256 random bits cannot be guessed. Hashes are compared in constant time, for a
public id that nobody has too; the public id is no secret. Instants are whole microseconds since
1970-01-01T00:00:00Z.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, or_, select, update
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, pointer
from api.services.access import persons
from api.store import journal
from api.store.database import Database
from api.store.paging import KeyValues, page
from api.store.tables import ApiKey, Customer, Person
from graph.moments import BadMoment, instant_us, text_of

SCOPES = ("read", "decide", "record", "recall", "admin")
PREFIX = "th"
USE_NOTED_EVERY_US = 60_000_000
HOUR_US = 3_600_000_000


@dataclass(frozen=True, slots=True)
class KeyRecord:
    """One API key without its secret; ``expires_us`` and the like are None where not set."""

    id: int
    public_id: str
    name: str
    scopes: tuple[str, ...]
    customer: str | None
    person: str | None
    created_us: int
    expires_us: int | None
    revoked_us: int | None
    last_used_us: int | None

    def allows(self, scope: str) -> bool:
        """Whether the key holds the scope; ``admin`` holds them all."""
        return scope in self.scopes or "admin" in self.scopes

    def valid_at(self, now: int) -> bool:
        """Whether the key is neither revoked nor expired."""
        return self.revoked_us is None and (self.expires_us is None or now < self.expires_us)


def create_key(
    session: Session,
    name: str,
    scopes: Collection[str],
    customer: str | None = None,
    expires: int | None = None,
    *,
    person: str | None = None,
    now: int,
) -> tuple[KeyRecord, str]:
    """Store a new key and return it with its token, which cannot be shown again.

    ``customer`` is a customer's name, recorded if new; ``person`` the id of a recorded person for
    whom alone the key speaks. Raises ``UnknownReference`` for a person who is not recorded, and
    ``InvalidRecord`` for an unknown or missing scope or an expiry that is not in the future.
    """
    _check_new_key(scopes, expires, now)
    secret = secrets.token_urlsafe(32)
    speaks_for = None if person is None else persons.active(session, person, pointer("person"))
    row = ApiKey(
        # Hexadecimal, so that the first two underscores of a token are its separators.
        public_id=secrets.token_hex(8),
        name=name,
        secret_hash=_hashed(secret),
        scopes=[scope for scope in SCOPES if scope in scopes],
        customer_id=None if customer is None else _customer_id(session, customer),
        person_id=None if speaks_for is None else speaks_for.id,
        created_us=now,
        expires_us=expires,
    )
    session.add(row)
    session.flush()
    said = {"key": row.public_id, "name": name, "scopes": row.scopes, "customer": customer}
    said |= {"speaks_for": person}
    journal.note(session, "key created", **said)
    name_of = None if speaks_for is None else speaks_for.name
    return _record(row, customer, name_of), f"{PREFIX}_{row.public_id}_{secret}"


def verify(session: Session, token: str, now: int) -> KeyRecord | None:
    """Return the key of a token; None if it is unknown, revoked, expired or of nobody active."""
    prefix, _, rest = token.partition("_")
    public_id, _, secret = rest.partition("_")
    if prefix != PREFIX or not secret or not public_id.isalnum():
        return None
    known = _KEYS.where(ApiKey.public_id == public_id, _MAY_SPEAK)
    found = session.execute(known).one_or_none()
    expected = _NOBODY if found is None else found[0].secret_hash
    fits = hmac.compare_digest(expected, _hashed(secret))
    if found is None or not fits:
        return None
    row, customer, person = found
    record = _record(row, customer, person)
    return record if record.valid_at(now) else None


def usable(session: Session, row_id: int, now: int) -> KeyRecord | None:
    """Return the key of this row; None if it is revoked, expired or of nobody active."""
    found = session.execute(_KEYS.where(ApiKey.id == row_id, _MAY_SPEAK)).one_or_none()
    record = None if found is None else _record(*found[:3])
    return record if record is not None and record.valid_at(now) else None


def rotate(
    session: Session, public_id: str, grace_us: int, expires: int | None = None, *, now: int
) -> tuple[KeyRecord, KeyRecord, str]:
    """Make a new key in place of one, which ends after a time of grace; both and the new token.

    The new one has the same name, scopes, customer, person and, unless ``expires`` is given,
    expiry: a rotation alone makes no right last longer. Raises ``NotFound``, ``Conflict`` for a
    key that is no longer valid, and what ``create_key`` raises.
    """
    row, customer, _ = _found(session, public_id)
    if row.revoked_us is not None or (row.expires_us is not None and row.expires_us <= now):
        raise Conflict(
            f"The key {public_id} is no longer valid.",
            [Issue("", "only a valid key can be rotated", "create a new key")],
        )
    person = None
    if row.person_id is not None:
        person = session.scalar(select(Person.code).where(Person.id == row.person_id))
    until = row.expires_us if expires is None else expires
    made, token = create_key(session, row.name, row.scopes, customer, until, person=person, now=now)
    end = now + grace_us
    row.expires_us = end if row.expires_us is None else min(row.expires_us, end)
    said = {"key": public_id, "replaced_by": made.public_id, "ends": text_of(row.expires_us)}
    journal.note(session, "key rotated", **said)
    session.flush()
    return _record(*_found(session, public_id)), made, token


def revoke(session: Session, public_id: str, now: int) -> KeyRecord:
    """Revoke a key for good; raises ``NotFound``. Revoking it again changes nothing."""
    row, *named = _found(session, public_id)
    if row.revoked_us is None:
        row.revoked_us = now
        journal.note(session, "key revoked", key=public_id)
        session.flush()
    return _record(row, *named)


def get_key(session: Session, public_id: str) -> KeyRecord:
    """Return one key; raises ``NotFound``."""
    return _record(*_found(session, public_id))


def list_keys(
    session: Session, after: Sequence[Any] | None = None, limit: int = 1000
) -> tuple[list[KeyRecord], KeyValues | None]:
    """Keys in the order they were made, revoked ones too, and the key to continue behind."""
    rows, key = page(session, _KEYS, [ApiKey.id], after, limit)
    return [_record(*row[:3]) for row in rows], key


def note_use(database: Database, key: KeyRecord, now: int) -> bool:
    """Note that a key was used, at most once a minute, and never wait for another writer.

    Returns whether it was noted; a busy database is asked again at a later request.
    """
    noted = (
        update(ApiKey)
        .where(
            ApiKey.id == key.id,
            or_(ApiKey.last_used_us.is_(None), ApiKey.last_used_us <= now - USE_NOTED_EVERY_US),
        )
        .values(last_used_us=now)
    )

    def write(connection: Connection) -> None:
        if connection.execute(noted).rowcount:
            used = journal.Author("key used", key_id=key.public_id, key_name=key.name)
            journal.add(connection, [journal.Entry(used)], wait=False)

    return database.write_if_free(write)


_KEYS = (
    select(ApiKey, Customer.name.label("customer"), Person.name.label("person"))
    .outerjoin(Customer, ApiKey.customer_id == Customer.id)
    .outerjoin(Person, ApiKey.person_id == Person.id)
)
_MAY_SPEAK = or_(ApiKey.person_id.is_(None), Person.active)


def expiry_of(moment: str | None) -> int | None:
    """Instant at which a key ends, from a date-time with zone or a date (its first instant, UTC).

    >>> expiry_of("1970-01-02")
    86400000000
    """
    if moment is None:
        return None
    try:
        return instant_us(moment, ZoneInfo("UTC"))
    except BadMoment as bad:
        issue = Issue(pointer("expires"), str(bad), value=moment)
        raise InvalidRecord("The key was not created.", [issue]) from None


def shown(record: KeyRecord) -> dict[str, Any]:
    """Public form of a key: no secret, instants as text in UTC."""
    instants = {
        "created_at": record.created_us,
        "expires_at": record.expires_us,
        "revoked_at": record.revoked_us,
        "last_used_at": record.last_used_us,
    }
    return {
        "id": record.public_id,
        "name": record.name,
        "scopes": record.scopes,
        "customer": record.customer,
        "person": record.person,
        **{name: None if at is None else text_of(at) for name, at in instants.items()},
    }


def _found(session: Session, public_id: str) -> tuple[ApiKey, str | None, str | None]:
    found = session.execute(_KEYS.where(ApiKey.public_id == public_id)).one_or_none()
    if found is None:
        raise NotFound(f"There is no API key {public_id}.")
    return found[0], found[1], found[2]


def _check_new_key(scopes: Collection[str], expires: int | None, now: int) -> None:
    issues = [
        Issue(pointer("scopes"), f"unknown scope {scope}", "scopes are " + ", ".join(SCOPES), scope)
        for scope in scopes
        if scope not in SCOPES
    ]
    if not scopes:
        issues.append(Issue(pointer("scopes"), "no scope", "scopes are " + ", ".join(SCOPES)))
    if expires is not None and expires <= now:
        issues.append(
            Issue(pointer("expires"), "not in the future", "leave it out or set it later")
        )
    if issues:
        raise InvalidRecord("The key was not created.", issues)


def _customer_id(session: Session, name: str) -> int:
    found = session.scalar(select(Customer.id).where(Customer.name == name))
    if found is not None:
        return found
    row = Customer(name=name)
    session.add(row)
    session.flush()
    return row.id


def _record(row: ApiKey, customer: str | None, person: str | None) -> KeyRecord:
    return KeyRecord(
        id=row.id,
        public_id=row.public_id,
        name=row.name,
        scopes=tuple(row.scopes),
        customer=customer,
        person=person,
        created_us=row.created_us,
        expires_us=row.expires_us,
        revoked_us=row.revoked_us,
        last_used_us=row.last_used_us,
    )


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


# What a secret is compared with where no key has the public id.
_NOBODY = _hashed(secrets.token_urlsafe(32))
