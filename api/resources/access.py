"""Whose records a caller may see, on the routes that are open to keys of customers.

Every other route refuses such a key by its declaration (``api.web.auth.requires``).
"""

from __future__ import annotations

from flask import g


def customer_of_key() -> str | None:
    """Name of the customer that the caller's key is bound to; None for the laboratory's own."""
    name: str | None = g.key.customer
    return name
