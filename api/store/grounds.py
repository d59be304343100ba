"""What spoke against a certificate when it was issued, and who answered for it all the same.

Kept beside the certificate, not in it: it is no part of what was certified. A row is written once;
certificates from before it was asked have none.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base
from api.store.types import JsonText


class CertificateGrounds(Base):
    """Findings at the issue of a certificate; `override` is by whom and why it was issued."""

    __tablename__ = "certificate_grounds"
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"), primary_key=True)
    at_us: Mapped[int] = mapped_column(BigInteger)
    findings: Mapped[Any] = mapped_column(JsonText)
    override: Mapped[Any | None] = mapped_column(JsonText)
