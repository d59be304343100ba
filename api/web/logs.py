"""The log: one JSON object a line, or the same as text to read.

Choice: the standard library's logging with a formatter, so that lines of libraries have the same
form. A line of a request holds what `observing` says of it: never a path or query (ids of customers
may stand there), a body or a header; of a key its public id alone. The message of an error is the
library's own, so statements are kept without their parameters (`hide_parameters` of the engine).
"""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any

import orjson
from flask import has_request_context

from api.web.request_id import request_id

# What a record is given by `extra=` under this name is part of its line.
FACTS = "facts"
# Libraries that tell at INFO what is of use to their authors only.
QUIET = logging.WARNING


class JsonFormatter(logging.Formatter):
    """A line is one JSON object: time, level, logger, message, then the facts of the record."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line; a traceback is a field of it."""
        said = _said(self, record)
        try:
            return orjson.dumps(said, default=str).decode()
        except orjson.JSONEncodeError:  # half a surrogate pair, or a number beyond 64 bits
            return json.dumps(said, default=str)


class TextFormatter(logging.Formatter):
    """A line for people: time, level, message, facts as name=value; a traceback follows it."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line; line breaks within a message are escaped, so that none is forged."""
        said = _said(self, record)
        parts = [said.pop("time"), said.pop("level"), said.pop("message").replace("\n", "\\n")]
        traceback = said.pop("traceback", None)
        parts += [f"{name}={_text(value)}" for name, value in said.items() if value is not None]
        return " ".join(parts) + ("" if traceback is None else f"\n{traceback}")


def _said(formatter: logging.Formatter, record: logging.LogRecord) -> dict[str, Any]:
    at = datetime.fromtimestamp(record.created, UTC)
    said = {
        "time": f"{at:%Y-%m-%dT%H:%M:%S}.{at.microsecond // 1000:03d}Z",
        "level": record.levelname,
        "logger": record.name,
        "message": record.getMessage(),
        **getattr(record, FACTS, {}),
    }
    if "request_id" not in said and has_request_context():
        said["request_id"] = request_id()
    if record.exc_info and record.exc_info[0] is not None:
        said["exception"] = record.exc_info[0].__name__
        said["traceback"] = formatter.formatException(record.exc_info)
    return said


def _text(value: Any) -> str:
    text = str(value)
    plain = text.isprintable() and " " not in text and '"' not in text
    return text if plain else json.dumps(text, ensure_ascii=False)


FORMATTERS = {"json": JsonFormatter, "text": TextFormatter}


def configure(form: str, level: str) -> None:
    """Log this process to stderr: ours from the level on, libraries from WARNING on."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(FORMATTERS[form.lower()]())
    wanted = logging.getLevelNamesMapping()[level.upper()]
    handler.setLevel(wanted)  # some libraries set a lower level of their own
    logging.basicConfig(handlers=[handler], level=max(wanted, QUIET), force=True)
    logging.getLogger("api").setLevel(wanted)
    # Nobody is told of these, and a record takes a third less time without them.
    logging.logThreads = logging.logProcesses = logging.logMultiprocessing = False
    # One line for each request that waits for a thread, which under load is each request.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    logging.captureWarnings(True)
