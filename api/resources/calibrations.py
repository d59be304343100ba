"""Calibrations: one dated event with its certificate, uses and results.

Set-up check, run evaluation, budget, results, certificate: each may name the one before, and then
nothing is sent twice. A calibration, or one of its results, that names

- `run_evaluation` (`{"as_found": 3, "as_left": 4}` by stage) takes applied and indicated force and
  error, and without a budget U and k; without results, one for each rising force of the runs. A
  result finds its force by `applied`, else by its number, 1 the smallest
- `budget` takes U, k and degrees of freedom of the point next to its force, and what the runs of
  the budget say
- `set_up_check` takes adapters and references as uses; readouts are named in `uses`, since a set-up
  does not say which of them read the reference

What is sent beside must agree, else it is refused by name. What was taken is kept, and said:
`taken`, `taken_from`, `measured_in`. Mode, `performed_at` and the specification that was agreed may
be left out too.
"""

from __future__ import annotations

from typing import Any

from flask import Response

from api.resources.certificates import CertificateListQuery, CertificatePageSchema, headers_of
from api.schemas.calibrations import CalibrationSchema, RecordQuerySchema
from api.schemas.certificates import CertificateAnswerSchema, RecordedOrTriedSchema
from api.services.base.cautions import CAUTION
from api.services.certificates import certificates
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.transactions import reading, writing

blp = Blueprint(
    "calibrations", __name__, url_prefix="/v1/calibrations", description=f"{__doc__}\n{CAUTION}"
)


@blp.route("")
@requires("read")
@blp.arguments(CertificateListQuery, location="query")
@blp.response(200, CertificatePageSchema)
def list_calibrations(query: dict[str, Any]) -> Any:
    """List calibrations in the order they were recorded, each revision by itself."""
    with reading() as session:
        found, key = certificates.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(RecordQuerySchema, location="query")
@blp.arguments(CalibrationSchema)
@blp.response(201, CertificateAnswerSchema)
@blp.alt_response(
    200,
    schema=RecordedOrTriedSchema,
    description="Recorded already; or a dry run: `grounds` alone, and nothing was stored",
)
def record_calibration(query: dict[str, Any], record: dict[str, Any]) -> Any:
    """Record a calibration with its certificate in one call.

    What is issued is asked first whether something speaks against it: a `stop` refuses it with
    409 (/problems/doubtful-ground) unless `override` says who answers for it, and why; a field that
    the laboratory asks for at issue and that is missing, with 422. With `dry_run` all that was
    found is answered.
    """
    with writing() as session:
        if query["dry_run"]:
            found = {"grounds": certificates.tried(session, record, now_us())}
            # As it is: the schema of the answer is that of a certificate.
            return Response(dumps(found), mimetype="application/json")
        made, new = certificates.record_alone(session, record, now_us())
        shown = certificates.answer(session, made)
    return shown, 201 if new else 200, headers_of(shown)
