"""How does a program ask Tracehold? A synchronous client that loses no digit and no answer.

Choice: answers are the server's own JSON objects (``Answer``, a dict with its ETag), so that a
field added by a newer server is there at once. ``wire`` sends and repeats, ``calls`` joins what can
be asked, a module for each subject, ``errors`` says what can go wrong. Nothing else of this project
is imported.

Not checked here: the meaning of anything; the server refuses with a pointer and a remedy.
"""

from api.client.calls import Client
from api.client.errors import (
    ApiError,
    Conflict,
    Forbidden,
    InvalidRequest,
    Issue,
    NotFound,
    ServerError,
    Stale,
    Unauthorized,
    Unreachable,
)
from api.client.recalls import LISTS
from api.client.wire import Answer

__all__ = [
    "LISTS",
    "Answer",
    "ApiError",
    "Client",
    "Conflict",
    "Forbidden",
    "InvalidRequest",
    "Issue",
    "NotFound",
    "ServerError",
    "Stale",
    "Unauthorized",
    "Unreachable",
]
