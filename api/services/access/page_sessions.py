"""Who is at work in this browser? Sessions of the pages, each opened with an API key once.

The cookie is 256 random bits of which only the SHA-256 is stored. A session lasts while it is used
and ends after `IDLE_US` without use, at the sign-out, and with its key: revoked, expired, or bound
to a person who is no longer active. A key that speaks for nobody may be used by a recorded person,
who is then named in the journal as with the header ``Tracehold-Person``; as there it is not checked
that the person is the one at the keyboard.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import replace

from sqlalchemy import Connection, delete, select, update
from sqlalchemy.orm import Session

from api.errors import Forbidden, Issue
from api.services.access import keys, persons
from api.services.access.keys import KeyRecord
from api.store import journal
from api.store.database import Database
from api.store.pages import PageSession
from api.store.tables import Person

IDLE_US = 12 * 3600 * 1_000_000
SEEN_EVERY_US = 60_000_000


def at_work(session: Session, key: KeyRecord, person: str | None) -> tuple[KeyRecord, int | None]:
    """Return the key as the recorded person of this id uses it, and the key of the person's row.

    Raises
    ------
    UnknownReference
        If nobody of this id is recorded and active.
    Forbidden
        If the key speaks for another person.
    """
    if person is None:
        return key, None
    found = persons.active(session, person, "/person")
    if key.person not in (None, found.name):
        issue = Issue("/person", f"the key speaks for {key.person}", "leave it empty", person)
        raise Forbidden(f"The key speaks for {key.person}, not for {found.name}.", [issue])
    return replace(key, person=found.name), found.id


def open_session(session: Session, key: KeyRecord, person_id: int | None, now_us: int) -> str:
    """Open a session, in a write transaction; return the cookie's value.

    Sessions that ended by themselves are forgotten here.
    """
    session.execute(delete(PageSession).where(PageSession.expires_us <= now_us))
    cookie = secrets.token_urlsafe(32)
    session.add(
        PageSession(
            cookie_hash=hash_of(cookie),
            api_key_id=key.id,
            person_id=person_id,
            created_us=now_us,
            seen_us=now_us,
            expires_us=now_us + IDLE_US,
        )
    )
    journal.note(session, "page session opened", key=key.public_id)
    session.flush()
    return cookie


def key_of(session: Session, cookie: str, now_us: int) -> tuple[KeyRecord, int] | None:
    """Return the key of a session, with the person at work, and when it was last seen.

    None if the session is unknown or over, or its key cannot be used any more.
    """
    row = session.execute(
        select(PageSession, Person)
        .outerjoin(Person, Person.id == PageSession.person_id)
        .where(PageSession.cookie_hash == hash_of(cookie), PageSession.expires_us > now_us)
    ).one_or_none()
    if row is None or (row.Person is not None and not row.Person.active):
        return None
    key = keys.usable(session, row.PageSession.api_key_id, now_us)
    if key is None:
        return None
    if row.Person is not None:
        key = replace(key, person=row.Person.name)
    return key, row.PageSession.seen_us


def note_seen(database: Database, cookie: str, now_us: int) -> bool:
    """Let a session that is used go on; never wait for another writer, return whether it was noted.

    A busy database is asked again at a later request.
    """
    seen = (
        update(PageSession)
        .where(PageSession.cookie_hash == hash_of(cookie))
        .values(seen_us=now_us, expires_us=now_us + IDLE_US)
    )

    def write(connection: Connection) -> None:
        connection.execute(seen)

    return database.write_if_free(write)


def end_session(session: Session, cookie: str) -> None:
    """End a session, in a write transaction; one that is over stays so."""
    session.execute(delete(PageSession).where(PageSession.cookie_hash == hash_of(cookie)))
    journal.note(session, "page session ended")


def hash_of(cookie: str) -> str:
    """SHA-256 of a cookie's value, by which its session is found."""
    return hashlib.sha256(cookie.encode("utf-8", "surrogatepass")).hexdigest()


def form_token(cookie: str) -> str:
    """Token that every form of a session carries; only who holds the cookie could know it.

    >>> form_token("one") == form_token("one") != form_token("other")
    True
    """
    return hmac.new(cookie.encode("utf-8", "surrogatepass"), b"form", hashlib.sha256).hexdigest()


def is_form_token(cookie: str, sent: str) -> bool:
    """Whether a form was made for this session, compared in constant time."""
    return hmac.compare_digest(form_token(cookie).encode(), sent.encode("utf-8", "surrogatepass"))
