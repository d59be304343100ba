"""A notice as plain text, and the words and table cells that its other forms share."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

Content = dict[str, Any]
WIDTH = 78
HEADINGS = (
    "Point",
    "Applied",
    "Error stated",
    "Error corrected",
    "U stated",
    "U corrected",
    "Limits",
    "Conformity before",
    "Conformity after",
)
STAGE_WORDS = {"as_found": ", as found", "as_left": ", as left", "single": ""}
ROUNDED = (
    "Corrected values are rounded here to the last place of U where U is known, U up to two "
    "significant digits; conformity was decided on unrounded ones."
)


def title(content: Content) -> str:
    """Return the title of a notice."""
    return f"Notice {content['notice']}: certificates that need your attention"


def about(content: Content) -> list[tuple[str, str]]:
    """Return label and text of what stands at the head of a notice."""
    customer = content["customer"]
    to = [customer["name"], customer["contact"], customer["email"]]
    said = [
        ("To", "\n".join(part for part in to if part)),
        ("Date", content["created_at"]),
        ("Our reference", content["recall"]),
        ("Please reply by", content["reply_by"]),
    ]
    if content["replaces"]:
        said.append(("Replaces", content["replaces"]))
    return said


def identity(certificate: Content) -> str:
    """Return what tells the item apart, in one line."""
    item = certificate["item"]
    rest = (
        f"{name.replace('_', ' ')} {value}" if name not in ("type", "capacity") else str(value)
        for name, value in item.items()
        if name != "id"
    )
    return ", ".join([item["id"], *(part.replace("_", " ") for part in rest)])


def heading(certificate: Content) -> str:
    """Return the heading of a certificate."""
    dates = f"calibrated {certificate['performed_at'][:10]}"
    if certificate["issued_at"]:
        dates += f", issued {certificate['issued_at'][:10]}"
    return f"Certificate {certificate['certificate']}, revision {certificate['revision']} ({dates})"


def rules(certificate: Content) -> list[str]:
    """Return the decision rules of the points, each once, and what was rounded."""
    named = (point["rule"] for point in certificate["points"] if point["rule"])
    said = [f"Decision rule {rule}." for rule in dict.fromkeys(named)]
    given = any(point["corrected_error"] is not None for point in certificate["points"])
    return [*said, ROUNDED] if given else said


def amended(certificate: Content) -> str | None:
    """Return the reference to the amended certificate, if there is one."""
    revision = certificate["amended_by_revision"]
    return None if revision is None else f"Amended certificate: revision {revision}."


def cells(point: Content) -> list[str]:
    """Return the cells of one point, in the order of ``HEADINGS``."""
    limits = [point["limits"][side] for side in ("lower", "upper")]
    stated = [quantity(point["U"], point["U_unit"])]
    if point["k"] and point["U"]:
        stated.append(f"(k = {point['k']})")
    return [
        f"{point['point']}{STAGE_WORDS[point['stage']]}",
        quantity(point["applied"], point["applied_unit"]),
        quantity(point["reported_error"], point["unit"]),
        quantity(point["corrected_error_rounded"], point["unit"]),
        " ".join(stated),
        quantity(point["U_after_rounded"], point["unit"])
        if point["U_after_rounded"]
        else "as stated",
        "none" if limits == [None, None] else " to ".join(one or "open" for one in limits),
        verdict_before(point),
        verdict_after(point),
    ]


def quantity(value: Any, unit: str | None) -> str:
    """Return a number with its unit, "not known" for None; a bounded one as a range."""
    if value is None:
        return "not known"
    if isinstance(value, dict):
        value = f"{value['lower']} to {value['upper']}"
    return f"{value} {unit}" if unit else str(value)


def verdict(word: str | None) -> str:
    """Return a verdict in words."""
    return "none stated" if word is None else word.replace("_", " ")


def verdict_before(point: Content) -> str:
    """Return the verdict before, and that of its own rule where another one was reported."""
    told = verdict(point["verdict_before"])
    decided = point.get("decided_before")  # notices of before did not say
    return told if decided is None else f"{told} (its rule gave {verdict(decided)})"


def verdict_after(point: Content) -> str:
    """Return the verdict after; a changed one is marked by a sign and a word, not by colour."""
    if point["verdicts_possible"] and point["verdict_after"] is None:
        return "◆ could be " + " or ".join(verdict(one) for one in point["verdicts_possible"])
    if point["verdict_after"] is None:
        return "none" if point["verdict_before"] is None else "not known"
    mark = "▲ now " if point["changed"] else ""
    branch = point.get("branch_after")
    why = f" ({branch['reason']})" if branch and point["changed"] else ""
    return f"{mark}{verdict(point['verdict_after'])}{why}"


def text(content: Content, content_hash: str) -> str:
    """Return the whole notice as text of ``WIDTH`` columns."""
    return "\n".join(_lines(content, content_hash)) + "\n"


def _lines(content: Content, content_hash: str) -> Iterator[str]:
    laboratory = content["laboratory"]
    for name in ("name", "address", "contact"):
        yield from (laboratory[name] or "").splitlines()
    yield from ("", title(content), "=" * len(title(content)), "")
    for label, said in about(content):
        first, *rest = said.splitlines()
        yield f"{label + ':':<17}{first}"
        yield from (f"{'':<17}{line}" for line in rest)
    yield from ("", "What was wrong")
    for one in content["what_was_wrong"]:
        yield from _wrapped(one)
    yield from _wrapped("Period concerned: " + "; ".join(content["periods"]) + ".")
    for certificate in content["certificates"]:
        yield from _certificate(certificate)
    yield ""
    for name in ("offer", "downstream", "safety"):
        yield from _wrapped(content[name])
        yield ""
    yield f"Please confirm that you received this notice by {content['reply_by']}."
    yield f"Authorised by {content['authorised_by']}"
    yield from ("", f"Content SHA-256 {content_hash}")


def _certificate(certificate: Content) -> Iterator[str]:
    yield from ("", *_wrapped(heading(certificate), ""), "-" * WIDTH)
    yield from _wrapped("Item: " + identity(certificate))
    yield from _wrapped(certificate["effect"])
    for point in certificate["points"]:
        yield from _point(cells(point))
    for rule in rules(certificate):
        yield from _wrapped(rule)
    yield from _wrapped("Now: " + certificate["may_read_wrong_now"]["words"])
    yield from _wrapped("What to do: " + certificate["action"]["words"])
    if amended(certificate) is not None:
        yield from _wrapped(amended(certificate) or "")


def _point(row: Sequence[str]) -> Iterator[str]:
    point, applied, error, corrected, U, U_after, limits, before, after = row
    yield f"  - Point {point}, applied {applied}"
    yield f"      error stated {error}, corrected {corrected}; limits {limits}"
    yield f"      U stated {U}, corrected: {U_after}"
    yield f"      conformity before: {before}; after: {after}"


def _wrapped(said: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(
        said, WIDTH, initial_indent=indent, subsequent_indent=indent, break_long_words=False
    )
