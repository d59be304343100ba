"""Batches: decide a table of results in one request, however long it is.

The body goes to a temporary file first, and the answer is then streamed from that file; nothing of
the request is touched any more. A short answer is made whole before it is sent, so that
what cannot be read is a problem with its status; later the status is gone, and a stream that ends
early lacks its totals.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any, BinaryIO

from flask import Response, current_app, request
from marshmallow import ValidationError
from webargs.flaskparser import abort

from api.errors import TraceholdError
from api.schemas.batches import BatchQuerySchema, BatchSchema, NewBatchSchema, row_fault
from api.services.batches.batches import Batch, Deciding
from api.services.batches.format_json import pieces_of, read_document
from api.services.batches.formats import (
    CSV,
    JSON,
    KINDS,
    NDJSON,
    Kind,
    kind_of,
    read_pieces,
    writer_of,
)
from api.services.batches.pieces import counted, too_many
from api.services.decisions.requests import rules_of
from api.services.decisions.specifications import known_specifications
from api.web.auth import requires
from api.web.blueprints import Blueprint, takes_bulk
from api.web.bodies import spooled
from api.web.json import dumps
from api.web.metrics import Meters, meters
from api.web.problems import Problem
from api.web.transactions import reading

SUMMARY = "Tracehold-Summary"
# An answer up to here is made before it is sent.
_SHORT = 1 << 20
_TEXT = {"schema": {"type": "string"}}
_BINARY = {"schema": {"type": "string", "format": "binary"}}
_CONTENT = {
    kind.media_types[0]: _TEXT if kind in (CSV, NDJSON) else _BINARY
    for kind in KINDS
    if kind is not JSON
}

ABOUT = """Do these results conform?

`tracehold evaluate` does the same with files, by their endings and without a server, and
`api.frames.decide_frame` with a DataFrame.
"""
blp = Blueprint("batches", __name__, url_prefix="/v1/batches", description=ABOUT)


@blp.route("", methods=["POST"])
@requires("decide")
@takes_bulk
@blp.arguments(BatchQuerySchema, location="query")
@blp.doc(
    requestBody={
        "required": True,
        "content": {JSON.media_types[0]: {"schema": NewBatchSchema}, **_CONTENT},
    },
    responses={200: {"content": _CONTENT}},
)
@blp.alt_response(200, schema=BatchSchema, description="Decided, in the format accepted")
def decide_batch(query: dict[str, Any]) -> Response:
    """Decide many results; a row that cannot be decided comes back with its line and error.

    CSV, NDJSON, JSON (`{"rows": [...], "rule": ...}` or a list of rows, up to 32 MiB), Parquet and
    Arrow streams come in by Content-Type and go out by Accept, by default as they came. Rows keep
    their order, columns their text or type. A row has `U`, or `U_rel_pct` in percent of its value,
    and `lower` and `upper`, or `nominal` with `tolerance` or `terms` (of `reading`, `full_scale`
    and `resolution`), or the id of a recorded `specification`. Totals: NDJSON ends with a line
    `{"summary": {...}}`, JSON with the member `summary`, Parquet and Arrow have it in their
    metadata under `tracehold_summary` (Arrow in that of a last, empty batch), CSV with
    `summary=line` ends with a line `#summary {...}`; an answer that is short enough to be made
    before it is sent has it in the header Tracehold-Summary too. A stream without its totals was
    cut; NDJSON then ends with `{"problem": {...}}` if the cause was in what was sent. Nothing is
    stored.
    """
    kind = _kind_sent()
    answer = _kind_accepted(kind)
    sent = query.get("rule")
    with ExitStack() as stack:
        most = current_app.config["MAX_BATCH_ROWS"]
        body = stack.enter_context(spooled(_most(most)) if kind in (CSV, NDJSON) else spooled())
        if kind is JSON:
            batch = _loaded(body)
            pieces, sent = pieces_of(batch["rows"]), batch.get("rule", sent)
        else:
            pieces = read_pieces(body, kind, answer)
        pieces = counted(pieces, most)
        with reading() as session:
            deciding = Deciding(row_fault, *rules_of(session, sent), known_specifications(session))
        writer = writer_of(answer, query["raw"], "summary" in query)
        return _response(Batch(pieces, deciding, writer), answer, stack)


def _most(rows: int) -> Callable[[int], None]:
    """Refuse a text of more lines than a heading and so many rows."""

    def check(lines: int) -> None:
        if lines > rows + 1:
            raise too_many(rows)

    return check


def _kind_sent() -> Kind:
    found = kind_of(request.mimetype)
    if found is None:
        offered = ", ".join(kind.media_types[0] for kind in KINDS)
        sent = request.mimetype or "nothing"
        raise Problem("unsupported-media-type", f"Send one of {offered}; not {sent}.")
    return found


def _kind_accepted(sent: Kind) -> Kind:
    """Return the format of the answer; that of the request comes first."""
    if "Accept" not in request.headers:
        return sent
    kinds = [sent, *(kind for kind in KINDS if kind is not sent)]
    offered = [media_type for kind in kinds for media_type in kind.media_types]
    found = kind_of(request.accept_mimetypes.best_match(offered) or "")
    if found is None:
        raise Problem("not-acceptable", f"This address answers {', '.join(offered)}.")
    return found


def _loaded(body: BinaryIO) -> dict[str, Any]:
    try:
        loaded: dict[str, Any] = NewBatchSchema().load(read_document(body))
    except ValidationError as error:
        abort(422, exc=error, messages={"json": error.messages})
    return loaded


def _response(batch: Batch, answer: Kind, stack: ExitStack) -> Response:
    """Return the answer whole if it is short, else as a stream that closes what it needs."""
    media_type = answer.media_types[0]
    parts = _counted(batch, meters())
    begun = b""
    for part in parts:
        begun += part
        if len(begun) > _SHORT:
            needed = stack.pop_all()
            response = Response(_rest(begun, parts, answer, needed), mimetype=media_type)
            # For the client that goes before the first part.
            response.call_on_close(needed.close)
            return response
    headers = {SUMMARY: dumps(batch.summary()).decode()}
    return Response(begun, mimetype=media_type, headers=headers)


def _counted(batch: Batch, told: Meters) -> Iterator[bytes]:
    """Yield the answer's parts, and count what was decided, whether or not it got to its end."""
    try:
        yield from batch
    finally:
        told.decided("batch", batch.summary()["by_verdict"])


def _rest(begun: bytes, parts: Iterator[bytes], answer: Kind, needed: ExitStack) -> Iterator[bytes]:
    with needed:
        yield begun
        try:
            yield from parts
        except TraceholdError as error:
            if answer is not NDJSON:
                raise
            problem = {"type": f"/problems/{error.code}", "detail": error.detail}
            yield dumps({"problem": problem}) + b"\n"
