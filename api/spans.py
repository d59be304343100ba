"""Spans of what takes time, for whoever traces; nothing at all for everybody else.

Choice: services say where a piece of work begins and ends, and know of no tracing library.
`api.web.telemetry` installs the one function that makes spans; until then a span is one object
that does nothing, and nothing is imported.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from functools import wraps
from typing import Any, ParamSpec, TypeVar

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")
# Opens a span; `current` says whether spans begun within it, in the same thread, are its children.
Opener = Callable[..., AbstractContextManager[Any]]

_NOTHING = nullcontext()
_opener: Opener | None = None


def install(opener: Opener | None) -> None:
    """Make spans from now on with `opener(name, current=...)`; None ends it."""
    global _opener  # one for the process, like the tracer it belongs to
    _opener = opener


def span(name: str, *, current: bool = True) -> AbstractContextManager[Any]:
    """Return a span around a piece of work.

    With `current` false it is not made the parent of what follows: a generator, which is left and
    entered again, must not change what is current for its caller.
    """
    return _NOTHING if _opener is None else _opener(name, current=current)


def spanned(name: str) -> Callable[[Callable[Parameters, Result]], Callable[Parameters, Result]]:
    """Put a span around every call of a function."""

    def decorate(function: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
        @wraps(function)
        def told(*args: Parameters.args, **kwargs: Parameters.kwargs) -> Result:
            with span(name):
                return function(*args, **kwargs)

        return told

    return decorate
