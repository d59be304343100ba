"""Answers as tables and trees for people; whoever wants every digit asks for JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text
from rich.tree import Tree

from api.commands.output import chance, words

Json = Mapping[str, Any]
MOST_REFUSED = 40
COLOURS = {
    "pass": "green",
    "conditional_pass": "yellow",
    "conditional_fail": "dark_orange",
    "fail": "red",
    "no_statement": "magenta",
}


def plain_table(*columns: str, right: Iterable[str] = (), **options: Any) -> Table:
    """Table with a heading and no frame; ``right`` names the columns of numbers."""
    table = Table(
        box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), title_justify="left", **options
    )
    for name in columns:
        table.add_column(name, justify="right" if name in set(right) else "left")
    return table


def facts(rows: Iterable[tuple[str, str | Text]]) -> Table:
    """Names and values below each other."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for name, value in rows:
        table.add_row(name, value)
    return table


def verdict_text(verdict: str | None) -> Text:
    """A verdict as a word, coloured."""
    return Text("-") if verdict is None else Text(words(verdict), COLOURS.get(verdict, ""))


def interval(lower: str | None, upper: str | None) -> str:
    """Two limits, either of which may be absent.

    >>> interval("9.99", None), interval(None, None)
    ('9.99 ..', '-')
    """
    if lower is None and upper is None:
        return "-"
    return " ".join([*([lower] if lower is not None else []), "..", *([upper] if upper else [])])


def import_table(answer: Json) -> Table:
    """How many records of each collection were new."""
    table = plain_table("collection", "created", "unchanged", right=("created", "unchanged"))
    for name, created in answer["created"].items():
        table.add_row(name, str(created), str(answer["unchanged"][name]))
    return table


def refused_table(refused: Sequence[Json]) -> Table:
    """The first refused rows of CSV files, with what is wrong and how to mend it."""
    more = len(refused) - MOST_REFUSED
    caption = f"and {more} more; --report FILE.csv writes them all" if more > 0 else None
    table = plain_table("file", "row", "column", "value", "reason", "remedy", caption=caption)
    for one in refused[:MOST_REFUSED]:
        names = ("file", "row", "column", "value", "reason", "remedy")
        table.add_row(*(str(one.get(name, "-")) for name in names))
    return table


def missing_table(missing: Json) -> Table:
    """What records name and nobody recorded."""
    table = plain_table("missing", "id", "times named", right=("times named",))
    for kind, found in missing.items():
        for one in found:
            table.add_row(kind, one["id"], str(one["named_by"]))
    return table


def decision_view(answer: Json) -> Table:
    """A decision, the verdict first."""
    risk, accepted = answer["specific_risk"], answer["acceptance"]
    band, unit = answer["guard_band"], answer["unit"]
    if isinstance(band, Mapping):
        band = f"{band['lower']} (lower), {band['upper']} (upper)"
    rows: list[tuple[str, str | Text]] = [
        ("verdict", verdict_text(answer["verdict"])),
        ("result", f"{answer['value']} {unit}, U = {answer['U']} {unit} (k = {answer['k']})"),
        ("tolerance limits", f"{interval(**answer['limits'])} {unit}"),
        ("acceptance limits", f"{interval(accepted['lower'], accepted['upper'])} {unit}"),
    ]
    if "branch" in answer:
        branch = answer["branch"]
        rows.append(("branch of the rule", f"{branch['number']}: {branch['reason']}"))
    elif accepted.get("empty"):
        rows.append(("", f"no result can pass: {accepted['reason']}"))
    rows += [
        ("guard band", f"{band} {unit}" if band is not None else "-"),
        ("probability of conformity", chance(answer["conformance_probability"])),
        ("risk if accepted", f"{chance(risk['consumer'])} (consumer's)"),
        ("risk if rejected", f"{chance(risk['producer'])} (producer's)"),
        ("TUR", answer["tur"] or "-"),
    ]
    if "global_risk" in answer:
        joint = answer["global_risk"]
        rows.append(("global consumer's risk", chance(joint["consumer"])))
        rows.append(("global producer's risk", chance(joint["producer"])))
    rows.append(("statement", answer["statement"]))
    stored = "not stored" if answer["id"] is None else f"decision {answer['id']}"
    return facts([*rows, ("stored as", stored)])


def batch_view(answer: Json) -> Group:
    """Rows with their verdicts, then the rows that could not be decided, with the reason."""
    columns = ("id", "result", "tolerance", "rule", "accepted within", "verdict", "risk")
    table = plain_table(*columns, right=("result", "risk"))
    wrong = plain_table("id", "column", "not decided because")
    for row in answer["rows"]:
        if row["verdict"] is None:
            wrong.add_row(row.get("id"), row["error_field"], row["error"])
            continue
        table.add_row(
            row.get("id"),
            f"{row['value']} ± {row['U']} {row.get('unit') or ''}",
            _requirement(row),
            row.get("rule"),
            interval(row["acceptance_lower"], row["acceptance_upper"]),
            verdict_text(row["verdict"]),
            chance(row["specific_risk"]),
        )
    about = Text("risk: probability that the true value lies outside the tolerance", "dim")
    parts: list[Table | Text] = [table, about, *([wrong] if wrong.row_count else [])]
    return Group(*parts, batch_summary(answer["summary"]))


def _requirement(row: Json) -> str:
    if row.get("tolerance"):
        return f"{row['nominal']} ± {row['tolerance']}"
    return interval(row.get("lower") or None, row.get("upper") or None)


def batch_summary(summary: Json) -> Text:
    """The counts of a batch in one line."""
    verdicts = ", ".join(f"{n} {words(name)}" for name, n in summary["by_verdict"].items() if n)
    said = f"{summary['rows']} rows: {verdicts or 'no verdict'}"
    return Text(said + (f"; {summary['refused']} not decided" if summary["refused"] else ""))


def chain_view(answer: Json) -> Group:
    """What a certificate rests on as a tree, the certificates it ends at, and the breaks."""
    above: dict[tuple[str, int], list[Json]] = {}
    for link in answer["links"]:
        above.setdefault((link["certificate"], link["revision"]), []).append(link)
    top = answer["certificate"], answer["revision"]
    tree = Tree(Text(_name(*top), "bold"))
    _grow(tree, top, above, set())
    roots = [
        f"{one['certificate']} of {one['issuer']}"
        + (f" ({one['accreditation']})" if one.get("accreditation") else "")
        for one in answer["roots"]
    ]
    if answer["unbroken"]:
        end = [Text(f"Unbroken. It ends at {'; '.join(roots)}.", "green")]
    else:
        number = len(answer["breaks"])
        end = [Text(f"BROKEN in {number} place{'s' if number > 1 else ''}:", "red")]
        end += [Text(f"  {words(b['kind'])}: {b['detail']}") for b in answer["breaks"]]
    return Group(tree, *end)


def _name(certificate: str, revision: int) -> str:
    return f"{certificate} rev. {revision}" if revision else certificate


def _grow(
    tree: Tree,
    certificate: tuple[str, int],
    above: Mapping[tuple[str, int], list[Json]],
    shown: set[tuple[str, int]],
) -> None:
    """Add what a certificate used; what stands in the tree already is named and not repeated."""
    shown.add(certificate)
    for link in above.get(certificate, ()):
        label = Text(f"{link['item']}, {words(link['role'])}, used {link['used_at']}")
        source = link.get("rests_on")
        if source is None:
            known = link.get("carries_value") is False
            label.append(
                " (carries no value)" if known else " NO CALIBRATION", "" if known else "red"
            )
            tree.add(label)
            continue
        key = source["certificate"], source["revision"]
        label.append(f": {_name(*key)}")
        if key in shown and key in above:
            tree.add(label.append(" (see above)", "dim"))
        else:
            _grow(tree.add(label), key, above, shown)
