"""Alerts: what failed, or was used overdue, and waits for an answer.

A failed check or inspection, a calibration that fails as found, and the use of an overdue item in
an issued certificate raise an alert, in the transaction that records them, on every way. An alert
is answered by a fault (the recall of it, whose window must hold the failure) or by a person with a
reason. What is corrected, withdrawn or voided ends its alert, which says by whom and why (`ended`).
What fails only since a recall corrected its certificate is answered by that recall, if it lists
every use of the item from the good evidence before until the next.

A customer's instrument that fails as found raises one only if a calibration ever used it, or an
assembly held it. An overdue item has one alert for each value that was overdue, which grows with
its uses and is open again at every new one. Alerts of one item with nothing good recorded between
them belong `together`: one fault, or one reason, answers them.

`POST /v1/alerts/answers` answers all that pass a filter, such as failures of an imported history
that `good_evidence_followed`; the `count` confirms that all of them are meant. Good evidence after
a failure clears nothing that was measured before it.
"""

from __future__ import annotations

from typing import Any

from api.schemas.alerts import (
    AlertQuerySchema,
    AlertSchema,
    AnswerByFilterSchema,
    AnsweredSchema,
    NewAlertAnswerSchema,
    ReachSchema,
)
from api.schemas.faults import RecallRequestSchema
from api.schemas.recalls import FaultDraftSchema
from api.services.alerts import alerts, answering, drafts
from api.services.base.cautions import CAUTION
from api.services.base.recording import zone_of
from api.services.recalls import run
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import note_question, reading, writing

blp = Blueprint("alerts", __name__, url_prefix="/v1/alerts", description=__doc__)
AlertPageSchema = paging.page_schema("AlertPage", AlertSchema)
FAULT = RecallRequestSchema()


class AlertListQuery(paging.PageQuery, AlertQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(AlertListQuery, location="query")
@blp.response(200, AlertPageSchema)
def list_alerts(query: dict[str, Any]) -> Any:
    """List alerts in the order raised."""
    with reading() as session:
        filters = alerts.filters_of(query, zone_of(session))
        found, key = alerts.find(session, filters, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/answers", methods=["POST"])
@requires("recall")
@idempotent
@blp.arguments(AnswerByFilterSchema)
@blp.response(201, AnsweredSchema)
def answer_filtered(command: dict[str, Any]) -> Any:
    """Answer all open alerts that pass a filter; another count than was said stores nothing."""
    with writing() as session:
        command["filter"] = alerts.filters_of(command["filter"], zone_of(session))
        answered = answering.filtered(session, command, now_us())
    return {"answered": len(answered)}, 201, {"Location": "/v1/alerts?state=answered"}


@blp.route("/<int:alert_id>")
@requires("read")
@blp.response(200, AlertSchema)
def show_alert(alert_id: int) -> Any:
    """Show an alert with the fault that it would be answered by, ready to be reported."""
    with reading() as session:
        alert = alerts.get(session, alert_id)
        shown = alerts.answer(session, alert)
        return shown | {"draft": drafts.draft(session, alert), "caution": CAUTION}


@blp.route("/<int:alert_id>/fault-draft")
@requires("read")
@blp.response(200, FaultDraftSchema)
def draft_fault(alert_id: int) -> Any:
    """Show the drafted fault alone; nothing is stored."""
    with reading() as session:
        return drafts.draft(session, alerts.get(session, alert_id))


@blp.route("/<int:alert_id>/reach")
@requires("recall")
@blp.response(200, ReachSchema)
def show_reach(alert_id: int) -> Any:
    """Work out what the drafted fault would reach today; takes as long as a recall."""
    with reading() as session:
        fault = drafts.draft(session, alerts.get(session, alert_id))["fault"]
        answer = run.recall(session, FAULT.load({"fault": fault}), now_us())
    note_question("reach of an alert", alert=alert_id, result_hash=answer.result_hash)
    wanted = ("window", "summary", "notes")
    return {"fault": fault} | {name: answer.head[name] for name in wanted if name in answer.head}


@blp.route("/<int:alert_id>/answers", methods=["POST"])
@requires("recall")
@idempotent
@blp.arguments(NewAlertAnswerSchema)
@blp.response(201, AlertSchema)
def answer_alert(command: dict[str, Any], alert_id: int) -> Any:
    """Answer an alert by the recall of its fault, or with the reason why none is reported."""
    with writing() as session:
        alert = alerts.get(session, alert_id)
        answering.one(session, alert, command, now_us())
        shown = alerts.answer(session, alert)
    return shown, 201, {"Location": f"/v1/alerts/{alert_id}"}
