"""Which rules may the rows of a batch name, and which serves rows without? The latest of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from api.rules.rule import Rule
from api.services.decision_rules import known_rules
from api.services.decisions import requested_rule


def rules_of(
    session: Session, sent: Mapping[str, Any] | None
) -> tuple[dict[str, Rule], Rule | None]:
    """Return the known rules in their latest versions, and the one that a request holds or names.

    Raises UnknownReference, InvalidRecord for an object that is no rule.
    """
    default = None if sent is None else requested_rule(session, {"rule": sent})[0]
    return known_rules(session), default
