"""The table of sessions of people who work with the pages: who signed in, and until when."""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key


class PageSession(Base):
    """A browser that signed in with a key; the cookie itself is never stored, only its SHA-256."""

    __tablename__ = "page_session"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    cookie_hash: Mapped[str] = mapped_column(Text, unique=True)
    api_key_id: Mapped[int] = mapped_column(ForeignKey("api_key.id"), index=True)
    # Who is at work, where the key itself speaks for nobody.
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    created_us: Mapped[int] = mapped_column(BigInteger)
    seen_us: Mapped[int] = mapped_column(BigInteger)
    expires_us: Mapped[int] = mapped_column(BigInteger, index=True)
