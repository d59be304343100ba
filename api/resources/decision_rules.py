"""Decision rules: list, explain and draw them, record a new rule or version."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from flask import Response

from api.schemas.decision_rules import (
    NewRuleSchema,
    RiskQuerySchema,
    RuleAnswerSchema,
    VersionQuerySchema,
)
from api.services.decisions import decision_rules
from api.services.decisions.rule_words import rule_answer
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.pictures import documented, picture
from api.web.transactions import reading, writing

blp = Blueprint(
    "decision_rules",
    __name__,
    url_prefix="/v1/decision-rules",
    description="How a result, its uncertainty and its limits become a verdict",
)
RulePageSchema = paging.page_schema("RulePage", RuleAnswerSchema)


@blp.route("")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, RulePageSchema)
def list_rules(query: dict[str, Any]) -> Any:
    """List the latest version of every rule, the built-in ones too, explained in words."""
    with reading() as session:
        rules, key = decision_rules.list_rules(session, paging.after(query), query["limit"])
    return paging.answer([rule_answer(rule) for rule in rules], key)


@blp.route("", methods=["POST"])
@requires("admin")
@idempotent
@blp.arguments(NewRuleSchema)
@blp.response(201, RuleAnswerSchema)
@blp.alt_response(200, schema=RuleAnswerSchema, description="Recorded already, unchanged")
def record_rule(new: dict[str, Any]) -> Any:
    """Record a rule, or the next version of one; recorded versions never change."""
    with writing() as session:
        rule, created = decision_rules.record_rule(session, new, now_us())
    location = f"/v1/decision-rules/{quote(rule.id, safe='')}?version={rule.version}"
    return rule_answer(rule), 201 if created else 200, {"Location": location}


@blp.route("/<path:rule_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, RuleAnswerSchema)
def show_rule(query: dict[str, Any], rule_id: str) -> Any:
    """Show one rule, in its latest version or in the one asked for."""
    with reading() as session:
        rule, versions = decision_rules.get_rule(session, rule_id, query.get("version"))
    return rule_answer(rule, versions)


@blp.route("/<path:rule_id>/risk.svg")
@requires("read")
@blp.arguments(RiskQuerySchema, location="query")
@blp.response(**documented("svg"))
def show_risk(query: dict[str, Any], rule_id: str) -> Response:
    """Draw a rule's worst specific risk against TUR, with a prior its global risks too."""
    return _risk(query, rule_id, "svg")


@blp.route("/<path:rule_id>/risk.png")
@requires("read")
@blp.arguments(RiskQuerySchema, location="query")
@blp.response(**documented("png"))
def show_risk_as_png(query: dict[str, Any], rule_id: str) -> Response:
    """Draw a rule's risks against TUR as a PNG file; see risk.svg."""
    return _risk(query, rule_id, "png")


def _risk(query: dict[str, Any], rule_id: str, kind: str) -> Response:
    # Only a picture needs matplotlib, which takes long to import.
    from api.services.decisions.risk_figure import risk_figure

    with reading() as session:
        rule, _ = decision_rules.get_rule(session, rule_id, query.get("version"))
    return picture(risk_figure(rule, query, kind), kind)
