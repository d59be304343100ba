"""Bodies that are read as files: any length, and once the whole of it is here.

The body goes to a temporary file first, since a client may want to send all of it before it reads
any of the answer, and some formats are read twice or from their end.
"""

from __future__ import annotations

import tempfile
from typing import BinaryIO, cast

from flask import request

from api.services.batch_pieces import too_many

# A body up to here stays in memory.
IN_MEMORY = 8 << 20
_PART = 1 << 20


def spooled(most_rows: int | None = None) -> BinaryIO:
    """Return the body as a file of its own, at its beginning; it outlives the request.

    Raises TooLarge as soon as a text has more than `most_rows` lines and a heading.
    """
    body = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115  # its owner closes it
    lines = 0
    while part := request.stream.read(_PART):
        body.write(part)
        lines += part.count(b"\n")
        if most_rows is not None and lines > most_rows + 1:
            body.close()
            raise too_many(most_rows)
    body.seek(0)
    return cast(BinaryIO, body)
