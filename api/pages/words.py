"""How pages write things: instants in the laboratory's zone, numbers, and words for states.

Every state is a word with a shape beside it (`mark`), so that neither colour nor sight is needed.
The shapes of the recall's lists are those of its picture.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal, InvalidOperation
from typing import NamedTuple
from zoneinfo import ZoneInfo

from markupsafe import Markup

from api.services.notices.notice_words import local_time
from graph.moments import BadMoment, instant_us

_BARE_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


SMALLEST = Decimal("0.0001")  # percent
_WORDS = {
    "U_below_reference": "U below that of its references",
    "below_cmc": "U below the CMC",
    "no_value": "no value in force",
    "cycles": "load cycles",
    "setup": "set-up",
    "readout_dut": "readout of the instrument",
    "readout_reference": "readout of the reference",
}


class State(NamedTuple):
    """A state as it is shown: its word, its shape, and how grave it is."""

    word: str
    shape: str
    tone: str = "quiet"


CERTIFICATE = {
    "valid": State("Valid", "tick", "good"),
    "doubtful": State("Issued", "half", "warn"),
    "recalled": State("Recalled", "cross", "bad"),
    "under_review": State("Under review", "diamond", "warn"),
    "superseded": State("Superseded", "arrow"),
    "voided": State("Voided", "bar", "bad"),
    "draft": State("Draft, not issued", "dashes"),
}
STATUS = {
    "issued": State("issued", "tick", "good"),
    "recalled": State("recalled", "cross", "bad"),
    "under_review": State("under review", "diamond", "warn"),
    "superseded": State("superseded", "arrow"),
    "voided": State("voided", "bar", "bad"),
    "draft": State("draft", "dashes"),
}
VERDICT = {
    "pass": State("pass", "tick", "good"),
    "conditional_pass": State("conditional pass", "half", "warn"),
    "conditional_fail": State("conditional fail", "halfbox", "warn"),
    "fail": State("fail", "cross", "bad"),
    "no_statement": State("no statement", "dashes", "warn"),
}
LISTS = {
    "affected": State("affected", "ring", "bad"),
    "indeterminate": State("indeterminate", "diamond", "warn"),
    "exposed_zero_effect": State("exposed, no effect", "triangle"),
    "traced_not_recalled": State("traced, not recalled", "box"),
    "cleared": State("cleared", "bar"),
    "cannot_be_excluded": State("cannot be excluded", "dashes", "warn"),
}
CASE = {
    "open": State("open", "ring", "bad"),
    "assessed": State("assessed", "half", "warn"),
    "notified": State("notified", "halfbox", "warn"),
    "closed": State("closed", "tick", "good"),
}
ALERT = {
    "open": State("open", "ring", "bad"),
    "answered": State("answered", "tick", "good"),
    "ended": State("ended", "bar"),
}
RESULT = {"pass": VERDICT["pass"], "fail": VERDICT["fail"]}
# What a set-up check found at worst.
OUTCOME = {
    "agrees": State("agreed with the records", "tick", "good"),
    "differs": State("differed from the records", "cross", "bad"),
    "not_checked": State("not wholly checked", "dashes", "warn"),
}
GROUND = {
    "stop": State("speaks against it", "cross", "bad"),
    "mind": State("to be borne in mind", "half", "warn"),
}
LIFE = {
    "active": State("active", "tick", "good"),
    "warn": State("near the end of its life", "half", "warn"),
    "past_life": State("past its life", "cross", "bad"),
}
ACTIONS = {
    "withdraw": "withdraw",
    "reissue": "reissue",
    "recalibrate_free": "recalibrate free of charge",
    "no_action": "no action",
}
CORRECTIVE = {
    "cause": "cause",
    "corrective_action": "corrective action",
    "effectiveness_review": "review of effectiveness",
}
# How a notice went; the names are those of the API.
WAYS = {
    "email": "e-mail",
    "post": "post",
    "courier": "courier",
    "hand": "by hand",
    "phone": "phone",
    "portal": "the customer's portal",
    "other": "another way",
}
STAGES = {"single": "single", "as_found": "as found", "as_left": "as left"}
# What a page says of an error by its status: a heading, and what to do.
PROBLEMS = {
    400: ("This could not be read", "Open the page again and repeat."),
    403: ("This is not allowed", "Sign in with a key that may do it, or ask who gives out keys."),
    404: ("There is nothing here", "Check the address, or look for the record from the start."),
    405: ("This cannot be done here", "Open the page from the start and use its buttons."),
    409: ("This contradicts what is recorded", "Look at the record, then decide again."),
    412: ("It was changed meanwhile", "Nothing was stored. Look at the page again, then repeat."),
    413: ("That was too much at once", "Nothing was stored. Shorten what you entered and repeat."),
    422: ("Something is to be mended", "Nothing was stored. Go back, mend it, and send it again."),
    429: ("Too many attempts", "Wait a minute, then try again."),
    500: (
        "Something went wrong on our side",
        "Try again. If it stays so, tell the number below to who runs this server.",
    ),
    503: ("The records cannot be reached", "Nothing was stored. Try again in a minute."),
    507: ("There is no room left to store this", "Nothing was stored. Tell who runs this server."),
}
TABLES = {
    "ground": GROUND,
    "certificate": CERTIFICATE,
    "status": STATUS,
    "verdict": VERDICT,
    "list": LISTS,
    "case": CASE,
    "result": RESULT,
    "life": LIFE,
    "outcome": OUTCOME,
    "alert": ALERT,
}


def state(table: str, name: str | None) -> State:
    """Return how a state is shown; one that nobody decided is a dash."""
    if name is None:
        return State("not decided", "dashes")
    return TABLES[table].get(name) or State(plain_words(name), "bar")


def problem(status: int) -> tuple[str, str]:
    """Return heading and advice for an error of this status."""
    return PROBLEMS.get(status) or PROBLEMS[400 if status < 500 else 500]


def plain_words(name: str) -> str:
    """Return the name of a field or kind as words.

    >>> plain_words("force_machine")
    'force machine'
    """
    return _WORDS.get(name) or name.replace("_", " ")


def when(text: str | None, zone: ZoneInfo) -> Markup:
    """Return a moment for reading: to the minute in the laboratory's zone; a bare date as it is."""
    if text is None:
        return Markup("")
    try:
        at_us = instant_us(text, zone)
    except BadMoment:
        return Markup("{}").format(text)
    shown = text if _BARE_DATE.fullmatch(text) else local_time(at_us, zone)[:16]
    return Markup('<time datetime="{}">{}</time>').format(text, shown)


def number(text: str | Decimal | None, digits: int = 6) -> str:
    """Return a number for a table, in plain notation with at most so many significant digits.

    >>> number("-0.000700490343240"), number("12.5000"), number("1E+3")
    ('-0.00070049', '12.5000', '1000')
    """
    if text is None:
        return ""
    try:
        exact = Decimal(text)
    except InvalidOperation:
        return str(text)
    if len(exact.as_tuple().digits) > digits:
        exact = Context(prec=digits).plus(exact).normalize()
    return format(exact, "f")


def span(value: object, digits: int = 6) -> str:
    """Return a number, or the two ends of an interval."""
    if isinstance(value, dict):
        return f"{number(value['lower'], digits)} … {number(value['upper'], digits)}"
    return number(None if value is None else str(value), digits)


def percent(share: float | str | None) -> str:
    """Return a probability or a share in percent; neither 0 nor 100 unless it is.

    >>> percent(0.0213), percent(0.0), percent(1e-9), percent("0.95"), percent(0.999928)
    ('2.13 %', '0.0 %', 'below 0.0001 %', '95 %', '99.9928 %')
    """
    if share is None:
        return "not defined"
    value = Decimal(str(share)) * 100
    if value and abs(value) < SMALLEST:
        return f"below {SMALLEST} %"
    if 0 < 100 - value < SMALLEST:
        return f"above {100 - SMALLEST} %"
    if 99 < value < 100:
        return f"{100 - Decimal(number(100 - value, 2))} %"
    return f"{number(value, 3)} %"


def counted(count: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun.

    >>> counted(1, "certificate"), counted(0, "certificate"), counted(1200, "certificate")
    ('1 certificate', 'no certificates', '1,200 certificates')
    """
    noun = one if count == 1 else many or f"{one}s"
    return f"{count:,} {noun}" if count else f"no {noun}"
