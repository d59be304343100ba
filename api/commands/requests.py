"""A fault from a file, as the services take it, for commands that ask the records themselves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from api.commands.output import Refused
from api.errors import Issue, TraceholdError
from api.schemas.plain_requests import plain_request


def requested(faults: Any) -> dict[str, Any]:
    """Return the request for a fault, or a list of faults; refuse what cannot be used."""
    sent = {"faults" if isinstance(faults, list) else "fault": faults}
    request = plain_request(sent)
    return _loaded(sent) if request is None else request


@contextmanager
def refusing() -> Iterator[None]:
    """Turn an error of the services into a refusal, with its places and remedies."""
    try:
        yield
    except TraceholdError as error:
        raise Refused(error.detail, error.issues) from error


def _loaded(sent: dict[str, Any]) -> dict[str, Any]:
    # What is not plain is either rare or wrong, and then the schema knows the words for it.
    from marshmallow import ValidationError

    from api.schemas.faults import RecallRequestSchema
    from api.web.validation import issues_of

    try:
        loaded: dict[str, Any] = RecallRequestSchema().load(sent)
    except ValidationError as error:
        found = [
            Issue(one["pointer"], one["detail"], one.get("remedy", ""), one.get("value"))
            for one in issues_of({"json": error.messages}, error)
        ]
        raise Refused("the fault cannot be used", found) from error
    return loaded
