"""How often Python's collector of circular garbage looks through the process.

A recall or an import makes records by the hundred thousand that all live until it is answered. With
the default thresholds the collector walks through them again and again and finds nothing: a tenth
to a seventh of the time of a large recall. Circular garbage is rare here and still collected.
"""

from __future__ import annotations

import gc

THRESHOLDS = (100_000, 20, 100)


def collect_seldom() -> None:
    """Set the thresholds for this process."""
    gc.set_threshold(*THRESHOLDS)
