"""Bodies that are read as files: any length, and once the whole of it is here.

The body goes to a temporary file first, since a client may want to send all of it before it reads
any of the answer, and some formats are read twice or from their end.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from typing import BinaryIO, cast

from flask import request

# A body up to here stays in memory.
IN_MEMORY = 8 << 20
_PART = 1 << 20


def spooled(check: Callable[[int], None] = lambda lines: None) -> BinaryIO:
    """Return the body as a file of its own, at its beginning; it outlives the request.

    `check` is told the line ends that have come, so that it can refuse before the rest is read.
    """
    body = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115  # its owner closes it
    lines = 0
    while part := request.stream.read(_PART):
        body.write(part)
        lines += part.count(b"\n")
        try:
            check(lines)
        except Exception:
            body.close()
            raise
    body.seek(0)
    return cast(BinaryIO, body)
