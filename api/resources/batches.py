"""Batches: decide a table of results in one request."""

from __future__ import annotations

from typing import Any

from flask import Response, request
from marshmallow import ValidationError
from webargs.flaskparser import abort

from api.schemas.batches import BatchQuerySchema, BatchSchema, NewBatchSchema
from api.services import batches
from api.services.batch_rules import rules_of
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.json import dumps, loads
from api.web.problems import Problem
from api.web.transactions import reading

JSON, CSV = "application/json", "text/csv"
SUMMARY = "Tracehold-Summary"
_TEXT = {"schema": {"type": "string"}}

blp = Blueprint(
    "batches", __name__, url_prefix="/v1/batches", description="Do these results conform?"
)


@blp.route("", methods=["POST"])
@requires("decide")
@blp.arguments(BatchQuerySchema, location="query")
@blp.doc(requestBody={"required": True, "content": {JSON: {"schema": NewBatchSchema}, CSV: _TEXT}})
@blp.alt_response(200, schema=BatchSchema, description="Decided; CSV or JSON as accepted")
def decide_batch(query: dict[str, Any]) -> Response:
    """Decide many results, as JSON or CSV; a bad row comes back with its error.

    JSON is `{"rows": [...], "rule": ...}` or a list of rows. The answer is of the kind that came
    in unless Accept asks for the other; CSV carries the summary in the header Tracehold-Summary.
    Nothing is stored.
    """
    answer_type = _answer_type()
    sent, rows = query.get("rule"), None
    if request.mimetype == CSV:
        frame, refused = batches.read_csv(request.get_data())
    else:
        batch = _loaded()
        rows, sent = batch["rows"], batch.get("rule", sent)
        frame, refused = batches.read_rows(rows), {}
    with reading() as session:
        rules, default = rules_of(session, sent)
    decided = batches.decide_table(frame, rules, default, refused)
    summary = batches.summary(decided)
    if answer_type == CSV:
        body = batches.write_csv(decided, query["raw"])
        return Response(body, mimetype=CSV, headers={SUMMARY: dumps(summary).decode()})
    answered = {"rows": batches.write_rows(decided, rows), "summary": summary}
    return Response(dumps(answered), mimetype=JSON)


def _answer_type() -> str:
    """Return the media type of the answer; that of the request comes first."""
    sent = request.mimetype
    if sent not in (JSON, CSV):
        raise Problem("unsupported-media-type", f"Send {JSON} or {CSV}, not {sent or 'nothing'}.")
    offered = [sent, CSV if sent == JSON else JSON]
    if "Accept" not in request.headers:
        return sent
    found = request.accept_mimetypes.best_match(offered)
    if found is None:
        raise Problem("not-acceptable", f"This address answers {JSON} or {CSV}.")
    return found


def _loaded() -> dict[str, Any]:
    data = loads(request.get_data())
    try:
        loaded: dict[str, Any] = NewBatchSchema().load(
            {"rows": data} if isinstance(data, list) else data
        )
    except ValidationError as error:
        abort(422, exc=error, messages={"json": error.messages})
    return loaded
