"""Recalls: a fault is reported, and every certificate it reaches comes back with evidence.

A fault names what is faulty, a window and an effect. Faulty is an `item`, a `certificate` whose
values were wrong, or a `method` as calibrations recorded it. The window lies between `last_good_at`
and `isolated_at`; checks that could have seen the fault narrow it. The effect is told by the kind:

- `true_force_relative_error`: `delta_rel` = (true force - recorded force) / recorded force,
  constant or by `segments` of force
- `indicates_high`: `indication_rel` e, where reading = (1 + e) x true
- `wrong_correction_factor`: `factor_applied` and `factor_right`, from `entered_at` to `fixed_at`
- `indication_effect_by_type`: an adapter; `effect_rel` on the indication by type of instrument
- `readout_gain`: `gain` of one channel, which cancels where it read both sides
- `interval`: the effect is known to lie within `bound_rel`
- `linear_drift`: zero at `last_good_at`, `delta_rel` at `measured_at`
- `understated_uncertainty`: `U_rel_right` in the place of `U_rel_recorded` (`k_right`,
  `k_recorded`); no value moves, verdicts are decided again
- `true_force_offset`: `delta_force` in a `unit`, wrong by a constant and not by a share
- `wrong_curve`: the force was had from a deflection by wrong coefficients; `coefficients_right`,
  and `coefficients_recorded`, `of`, `unit` and `range` unless the certificate says them
- `unknown`: every certificate reached is for review

`only` limits where the fault was met: to a `mode`, `directions` or `roles`. Roles are words of the
laboratory's own, so that none can be refused; `notes` name each that no record of the item has,
with those that are recorded: look there before you rely on what such a limit clears.

A fault need not be written by hand: `POST /v1/recalls/fault-drafts` makes one of a standard's
failed as-found calibration, or of a revision that changes a curve,
`POST /v1/setup-comparisons/{comparison_id}/fault` one of two set-ups compared. `preview` and
`POST /v1/recalls/comparisons` ask without storing.

The answer puts every certificate that ever met the item in exactly one list, with its reason:
`affected`, `exposed_zero_effect`, `indeterminate`, `traced_not_recalled` (not issued) or `cleared`.
The first three have all paths, the shift and corrected error of every point, and the verdict before
and after. A further list, `cannot_be_excluded`, holds who may rest on the fault though the
records do not say so, with `reasons`: `no_use_in_role`, `undated_void`, `mode_not_recorded`,
`other_mode_only`, `outside_range`, `may_be_outside_range` (the share of a part is not recorded, so
that nobody can say which force it bore), `rests_on_doubt`; entries of the first three carry the
same as `doubts`. What matters first: `affected?sort=changed`, and `totals`.

Deltas of several uses are added, which is first order: products of small errors are left out. A use
of the faulty item inside the window is judged by the fault alone; the value that the item took from
its own certificate is not added on top, so that nothing counts twice.

A stored recall never changes. A late record that would change it flags it as `stale`, with the
differences; a second look names the first as `previous` and lists them too. A certificate that it
lists no longer is under review until a disposition frees it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from flask import Response

from api.schemas.base import StrictSchema
from api.schemas.faults import ComparisonRequestSchema, RecallRequestSchema
from api.schemas.recalls import (
    ComparisonSchema,
    EntryQuerySchema,
    FaultDraftRequestSchema,
    FaultDraftSchema,
    RecallEntryPageSchema,
    RecallHeadPageSchema,
    RecallQuerySchema,
    RecallSchema,
    RecallShownSchema,
    TotalsSchema,
)
from api.services.recalls import fault_drafts, lists, recalls, reporting, run
from api.services.recalls.differences import differences, found_entries
from api.services.recalls.rechecking import recheck
from api.services.recalls.run import Answer
from api.services.recalls.staleness import CHECKING, flags, staleness
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.metrics import meters
from api.web.problems import Problem
from api.web.transactions import database, note_question, reading, writing
from graph.lists import LISTS

LOT = 1_000

blp = Blueprint("recalls", __name__, url_prefix="/v1/recalls", description=__doc__)


@blp.route("", methods=["POST"])
@requires("recall")
@idempotent
@blp.arguments(RecallRequestSchema)
@blp.arguments(StrictSchema, location="query")  # what would be overlooked is refused
@blp.response(201, RecallSchema)
@blp.alt_response(200, schema=RecallSchema, description="A preview: nothing was stored")
def report_fault(request: dict[str, Any], query: dict[str, Any]) -> Any:
    """Report a fault and store the recall; with preview it is only answered."""
    if request["preview"]:
        with reading() as session:
            answer = run.recall(session, request, now_us())
        note_question("recall preview", **_hashes(answer))
        meters().recalls.labels("preview").inc()
        return _response(recalls.preview_answer(answer), recalls.texts(answer), 200)
    answer, head = reporting.reported(reading, writing, request, now_us)
    meters().stored_recall(answer.head["summary"])
    return _response(head, recalls.texts(answer), 201)


class RecallListQuery(paging.PageQuery, RecallQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(RecallListQuery, location="query")
@blp.response(200, RecallHeadPageSchema)
def list_recalls(query: dict[str, Any]) -> Any:
    """List recalls, newest first, each with its summary and whether it still holds."""
    with reading() as session:
        found, key = recalls.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/comparisons", methods=["POST"])
@requires("recall")
@blp.arguments(ComparisonRequestSchema)
@blp.response(200, ComparisonSchema)
def compare_faults(request: dict[str, Any]) -> Any:
    """Compare two windows or two effects; nothing is stored."""
    with reading() as session:
        first = run.recall(session, {"fault": request["first"]}, now_us())
        second = run.recall(session, {"fault": request["second"]}, now_us())
        found = differences(session, found_entries(first), found_entries(second))
    note_question("recall comparison", first=_hashes(first), second=_hashes(second))
    return {
        "first": recalls.preview_answer(first),
        "second": recalls.preview_answer(second),
        "differences": found,
    }


@blp.route("/fault-drafts", methods=["POST"])
@requires("recall")
@blp.arguments(FaultDraftRequestSchema)
@blp.response(200, FaultDraftSchema)
def draft_fault(request: dict[str, Any]) -> Any:
    """Make the fault that a standard's failed as-found calibration shows; nothing is stored."""
    with reading() as session:
        return fault_drafts.draft(
            session, request["certificate"], request.get("issuer"), request.get("revision")
        )


@blp.route("/<int:recall_id>")
@requires("read")
@blp.arguments(RecallShownSchema, location="query")
@blp.response(200, RecallSchema)
def show_recall(query: dict[str, Any], recall_id: int) -> Any:
    """Show a stored recall with its lists, and whether a fresh one would find the same.

    With `exact` that is worked out first where it is not known; it takes as long as a recall.
    """
    with reading() as session:
        stored = recalls.get(session, recall_id)
        waits = query["exact"] and flags(session, [recall_id])[recall_id] == CHECKING
    if waits:
        recheck(database(), recall_id, now_us)
    with reading() as session:
        head = recalls.head_answer(stored) | staleness(session, recall_id)
        lists = {}
        if recalls.fits_at_once(head["summary"]):
            lists = {name: recalls.entries(session, recall_id, name) for name in LISTS}
    return _response(head, lists, 200)


class EntryListQuery(paging.PageQuery, EntryQuerySchema):
    """Order and filters of the list, and where to go on."""


@blp.route("/<int:recall_id>/totals")
@requires("read")
@blp.response(200, TotalsSchema)
def show_totals(recall_id: int) -> Any:
    """Count the recalled certificates by customer, item and generation."""
    with reading() as session:
        recalls.get(session, recall_id)
        return lists.totals(session, recall_id)


@blp.route("/<int:recall_id>/<list_name>")
@requires("read")
@blp.arguments(EntryListQuery, location="query")
@blp.response(200, RecallEntryPageSchema)
def list_entries(query: dict[str, Any], recall_id: int, list_name: str) -> Any:
    """List the entries of one list of a recall, in its order or by what matters most."""
    if list_name not in LISTS:
        raise Problem("not-found", f"A recall has no list {list_name}.")
    with reading() as session:
        recalls.get(session, recall_id)
        found, key = lists.entry_page(session, recall_id, list_name, query, paging.after(query))
    page, status, headers = paging.answer([], key)
    head = {"next": page["next"]}
    body = b"".join(_parts(head, {"items": found}))
    response = Response(body, status, mimetype="application/json")
    response.headers.update(headers)
    return response


def _response(head: dict[str, Any], lists: dict[str, list[str]], status: int) -> Response:
    """Write the answer from entries that are JSON text already.

    Large ones give links instead; a large preview, which is kept nowhere, is sent as it is written.
    """
    body: Iterable[bytes]
    if recalls.fits_at_once(head["summary"]):
        body = [b"".join(_parts(head, lists))]
    elif "id" in head:
        links = {name: f"/v1/recalls/{head['id']}/{name}" for name in LISTS}
        body = [dumps({**head, "links": links})]
    else:
        body = _parts(head, lists)
    response = Response(body, status, mimetype="application/json")
    if status == 201:
        response.headers["Location"] = f"/v1/recalls/{head['id']}"
    return response


def _parts(head: dict[str, Any], lists: dict[str, list[str]]) -> Iterator[bytes]:
    yield dumps(head)[:-1]
    for name, bodies in lists.items():
        yield f',"{name}":['.encode()
        for start in range(0, len(bodies), LOT):
            if start:
                yield b","
            yield ",".join(bodies[start : start + LOT]).encode()
        yield b"]"
    yield b"}"


def _hashes(answer: Answer) -> dict[str, str]:
    return {"input_hash": answer.input_hash, "result_hash": answer.result_hash}
