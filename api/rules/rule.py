"""Decision rules: what was agreed, in which version.

Choice: a rule is a frozen record: how the guard band w is found, how many zones the answer has,
who prescribed it and with whom it was agreed (ISO/IEC 17025:2017, 7.1.3). Two zones are pass and
fail; four add conditional pass and conditional fail (ILAC-G8:09/2019, 4.2.3, from memory).
A negative w (relaxed acceptance) is lawful with two zones and refused with four.

A rule may have a precondition, and another rule that decides where it does not hold; without one no
statement is made there. So a rule is a chain of branches, of which `branches.choose` finds the one
that decides. A fallback that was recorded stands in the chain with its version, whole.

Not checked: that the rule suits the customer's use of the result.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from api.rules.guard import BASES as BASES
from api.rules.guard import Guard as Guard
from api.rules.guard import guard_from_mapping
from api.rules.precondition import Precondition, precondition_from_mapping, ratio_text
from api.rules.reported import CONVENTIONS, REPORTED, UNROUNDED
from api.rules.rule_parts import RuleError as RuleError
from api.rules.rule_parts import only, text, whole

# What stands for the end of a chain, in the place of another rule.
NO_STATEMENT = "no_statement"
MOST_BRANCHES = 5
_INLINE = "inline"
_CIRCULAR = "rule '{}' comes back to itself; name another rule, or say 'no_statement'"
_RECORD = ("title", "prescribed_by", "agreed_with", "agreed_at", "source", "edition", "note")


@dataclass(frozen=True, slots=True)
class Rule:
    """A decision rule in one version.

    Parameters
    ----------
    id : str
        `inline` for a rule given with the request only.
    version : int
        From 1.
    guard : Guard
        How the guard band is found.
    zones : int
        2 (pass, fail) or 4, with the conditional ones between (ILAC-G8:09/2019, 4.2.3, from
        memory).
    title : str, optional
        What people call it.
    prescribed_by : str, optional
        The regulation, standard or customer that prescribes it; the statement then names no risk
        (ISO/IEC 17025:2017, 7.8.6.1).
    agreed_with, agreed_at : str, optional
        With whom and when it was agreed (ISO/IEC 17025:2017, 7.1.3).
    source, edition, note : str, optional
        Where it comes from, and what else is to be remembered.
    precondition : Precondition, optional
        What must hold for guard and zones to decide.
    otherwise : Rule, optional
        What decides where it does not hold; without it no statement is made there.
    decides_on : str
        One of CONVENTIONS: `unrounded` numbers, or those `reported`. That of the first rule holds
        for its fallbacks.

    Raises
    ------
    RuleError
        If a part is out of range, four zones have a guard band below 0, or a chain of fallbacks
        has no use, comes back to a rule, or is longer than MOST_BRANCHES.

    Examples
    --------
    >>> BUILT_IN["guard_U"].guard
    Guard(basis='U', factor=Decimal('1'), width=None, share=None, target=None, steps=None)
    """

    id: str = _INLINE
    version: int = 1
    guard: Guard = field(default_factory=lambda: Guard("none"))
    zones: int = 2
    title: str | None = None
    prescribed_by: str | None = None
    agreed_with: str | None = None
    agreed_at: str | None = None
    source: str | None = None
    edition: str | None = None
    note: str | None = None
    precondition: Precondition | None = None
    otherwise: "Rule | None" = None
    decides_on: str = UNROUNDED

    def __post_init__(self) -> None:
        if not self.id:
            raise RuleError("/id", "id must not be empty")
        if isinstance(self.version, bool) or not isinstance(self.version, int) or self.version < 1:
            raise RuleError("/version", "version must be a whole number from 1")
        if isinstance(self.zones, bool) or self.zones not in (2, 4):
            raise RuleError("/zones", "zones must be 2 or 4")
        if self.decides_on not in CONVENTIONS:
            known = " or ".join(CONVENTIONS)
            raise RuleError("/decides_on", f"{self.decides_on!r} is no convention; give {known}")
        relaxed = self.guard.relaxes
        if self.zones == 4 and relaxed:
            raise RuleError(
                f"/guard/{relaxed}", "four zones need a guard band of 0 or more; use zones 2"
            )

        if self.otherwise is not None:
            self._check_chain()

    def _check_chain(self) -> None:
        if self.precondition is None:
            raise RuleError(
                "/otherwise", "it is never reached; give a precondition, or leave it out"
            )
        chain = tuple(self.chain())
        if len(chain) > MOST_BRANCHES:
            why = f"{len(chain)} rules follow each other, {MOST_BRANCHES} at most; leave some out"
            raise RuleError("/otherwise", why)
        if self.decides_on == UNROUNDED and any(one.decides_on == REPORTED for one in chain):
            why = (
                "it decides on reported numbers, where the rule before it decides on unrounded "
                "ones; give both the same decides_on"
            )
            raise RuleError("/otherwise", why)
        named = [rule.id for rule in chain if rule.id != _INLINE]
        for code in named:
            if named.count(code) > 1:
                raise RuleError("/otherwise", _CIRCULAR.format(code))

    def chain(self) -> Iterator["Rule"]:
        """Yield the rule and its fallbacks, in the order in which they are asked.

        Yields
        ------
        Rule
        """
        rule: Rule | None = self
        while rule is not None:
            yield rule
            rule = rule.otherwise

    def to_mapping(self) -> dict[str, object]:
        """Return the JSON form; `rule_from_mapping` gives the same rule back.

        Returns
        -------
        dict of str to object
            Numbers of the guard as text; what is None is left out.
        """
        found: dict[str, object] = {"id": self.id, "version": self.version}
        found |= {"guard": self.guard.to_mapping(), "zones": self.zones}
        if self.decides_on != UNROUNDED:
            found["decides_on"] = self.decides_on
        for name in _RECORD:
            value = getattr(self, name)
            if value is not None:
                found[name] = value
        if self.precondition is not None:
            found["precondition"] = self.precondition.to_mapping()
            found["otherwise"] = NO_STATEMENT
        if self.otherwise is not None:
            found["otherwise"] = other = self.otherwise.to_mapping()
            if self.otherwise.id == _INLINE:
                del other["id"], other["version"]
        return found


# Rules that need not be recorded, by id.
BUILT_IN: dict[str, Rule] = {
    rule.id: rule
    for rule in (
        Rule("simple", title="Simple acceptance"),
        Rule("guard_U", guard=Guard("U", factor=Decimal(1)), title="Guarded acceptance, w = U"),
        Rule(
            "four_state_U",
            guard=Guard("U", factor=Decimal(1)),
            zones=4,
            title="Pass, conditional pass, conditional fail, fail, with w = U",
        ),
    )
}


# Finds a rule by id and version, None for the latest; None where there is none.
Find = Callable[[str, int | None], Rule | None]


def built_in(code: str, version: int | None) -> Rule | None:
    """Return a built-in rule, which has one version."""
    return BUILT_IN.get(code) if version in (None, 1) else None


def rule_from_mapping(mapping: Mapping[str, object], find: Find = built_in) -> Rule:
    """Read a rule from its JSON form.

    Parameters
    ----------
    mapping : mapping
        `guard` and any other fields of Rule; numbers are text, int or Decimal. A float is refused,
        its digits are not those that were sent. `otherwise` is a rule object, the id of a rule or
        {"id", "version"}, or "no_statement", which is what its absence means too.
    find : callable
        Finds the rules that `otherwise` may name; the built-in ones unless given.

    Returns
    -------
    Rule

    Raises
    ------
    RuleError
        With a pointer to what is wrong.

    Examples
    --------
    >>> rule_from_mapping({"guard": {"basis": "U", "factor": "0.83"}}).guard.factor
    Decimal('0.83')
    """
    if too_deep(mapping):
        why = f"more than {MOST_BRANCHES} rules follow each other; leave some out"
        raise RuleError("/otherwise", why)
    if not isinstance(mapping, Mapping):
        raise RuleError("", "a rule must be an object with a guard and zones")
    known = {"id", "version", "guard", "zones", "precondition", "otherwise", "decides_on"}
    only(mapping, {*known, *_RECORD}, "")
    if "guard" not in mapping:
        raise RuleError("/guard", "a guard is needed; use {'basis': 'none'} for simple acceptance")
    texts = {name: text(mapping[name], f"/{name}") for name in _RECORD if name in mapping}
    identity = text(mapping.get("id", _INLINE), "/id")
    version, zones = (whole(mapping.get(n, d), f"/{n}") for n, d in (("version", 1), ("zones", 2)))
    asked = mapping.get("precondition")
    return Rule(
        identity or "",
        version,
        guard_from_mapping(mapping["guard"]),
        zones,
        precondition=None if asked is None else precondition_from_mapping(asked),
        otherwise=_otherwise(mapping, find),
        decides_on=text(mapping.get("decides_on", UNROUNDED), "/decides_on") or "",
        **texts,
    )


def refuse_unreachable(rule: Rule) -> None:
    """Refuse a rule with a branch that decides nothing: an earlier one leaves nothing for it.

    Asked of a rule that is new; one that was recorded before this was asked decides as it did. A
    least TUR that is not below an earlier one, and a greatest U/T that is not above, never holds
    where the earlier one did not. Ratios of the two kinds are not compared: k is between them.

    Parameters
    ----------
    rule : Rule
        The first of its chain.

    Raises
    ------
    RuleError
        With a pointer to the precondition, or to the rule that was named, and the remedy.

    Examples
    --------
    >>> tur = {"least_tur": "4"}
    >>> again = {"guard": {"basis": "U", "factor": "1"}, "precondition": {"least_tur": "5"}}
    >>> refuse_unreachable(rule_from_mapping(
    ...     {"guard": {"basis": "none"}, "precondition": tur, "otherwise": again}))
    Traceback (most recent call last):
    api.rules.rule_parts.RuleError: TUR is at least 5 never holds where TUR is at least 4 did not; \
ask for less than 4, or leave this rule out
    """
    before: dict[str, Precondition] = {}
    place, named = "", False
    for depth, one in enumerate(rule.chain()):
        if depth and not named:
            place += "/otherwise"
            named = one.id != _INLINE
        asked = one.precondition
        if asked is None:
            return
        earlier = before.get(asked.kind)
        if earlier is not None and not asked.weaker_than(earlier):
            more = "less" if asked.kind == "least_tur" else "more"
            raise RuleError(
                place if named else f"{place}/precondition/{asked.kind}",
                f"{asked.words} never holds where {earlier.words} did not; "
                f"ask for {more} than {ratio_text(earlier.limit)}, or leave this rule out",
            )
        before[asked.kind] = asked


def too_deep(mapping: object) -> bool:
    """Say whether more rule objects are within each other than a rule may have branches."""
    for _ in range(MOST_BRANCHES):
        if not isinstance(mapping, Mapping):
            return False
        mapping = mapping.get("otherwise")
    return isinstance(mapping, Mapping)


def _otherwise(mapping: Mapping[str, object], find: Find) -> Rule | None:
    """Read what decides where the precondition does not hold."""
    sent = mapping.get("otherwise")
    if sent is None:
        return None
    if mapping.get("precondition") is None:
        raise RuleError("/otherwise", "it is never reached; give a precondition, or leave it out")
    if sent == NO_STATEMENT:
        return None
    if not isinstance(sent, Mapping) or ("guard" not in sent and "id" in sent):
        return _named(sent, mapping.get("id"), find)
    try:
        return rule_from_mapping(sent, find)
    except RuleError as error:
        raise RuleError(f"/otherwise{error.field}", str(error)) from None


def _named(sent: object, own: object, find: Find) -> Rule:
    """Find a rule by its id, or by {"id", "version"}; `own` is the id of the one that names it."""
    code, version = sent, None
    if isinstance(sent, Mapping):
        only(sent, {"id", "version"}, "/otherwise")
        code, version = sent["id"], sent.get("version")
    code = text(code, "/otherwise") or ""
    version = None if version is None else whole(version, "/otherwise/version")
    if code == own:
        raise RuleError("/otherwise", _CIRCULAR.format(code))
    rule = find(code, version)
    if rule is None:
        named = f"rule {code!r}" if version is None else f"rule {code!r}, version {version},"
        remedy = f"record it first, send a rule object, or say {NO_STATEMENT!r}"
        raise RuleError("/otherwise", f"{named} is not known; {remedy}")
    return rule
