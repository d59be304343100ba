"""Names that differ in nothing but their spelling: case, spaces, forms of letters."""

from __future__ import annotations

import unicodedata


def folded(text: str) -> str:
    """Return a name as it is compared: compatibility forms, case and runs of spaces made one.

    NFKC, case folding and NFKC again (The Unicode Standard, 3.13, from memory: folding may leave
    forms behind); what is neither seen nor takes room on paper is left out.

    >>> folded("  Alder\u00a0 RIGGING "), folded("\uff21lder") == folded("alder")
    ('alder rigging', True)
    """
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return " ".join("".join(c for c in plain if unicodedata.category(c) != "Cf").split())
