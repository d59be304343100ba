"""Keys that belong to a customer see what concerns that customer; the rest is the laboratory's."""

from __future__ import annotations

from flask import g

from api.errors import Forbidden


def customer_of_key() -> str | None:
    """Name of the customer that the caller's key is bound to; None for the laboratory's own."""
    name: str | None = g.key.customer
    return name


def laboratory_only() -> None:
    """Let only the laboratory's own keys pass."""
    if customer_of_key() is not None:
        raise Forbidden("This key belongs to a customer; only the laboratory may see this.")
