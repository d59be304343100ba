"""A recall for people: the window and why, the certificates that matter first, then the counts.

Choice: rows whose statement changes come first, then by |shift|/U; numbers are rounded for reading.
A path is written without its two ends where these stand in the heading and in the first column.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.commands.output import short, words
from api.commands.views import COLOURS, plain_table
from api.commands.windows import window_sentence

Json = Mapping[str, Any]
LISTED = ("affected", "indeterminate", "cannot_be_excluded")
# A terminal is no place for thousands of rows.
MOST_ROWS = 200
CHANGED = "CHANGED"
KINDS = ("added", "removed", "moved", "changed")


def print_recall(
    console: Console,
    answer: Json,
    entries_of: Callable[[str], Iterable[Json]],
    *,
    brief: bool = False,
) -> None:
    """Print a recall; ``entries_of`` gives the entries of one of its lists.

    In brief: without the checks, and of the affected ones those whose statement changes.
    """
    number = answer.get("number")
    console.print(f"Recall {number}" if number else "Preview of a recall; nothing was stored")
    print_standing(console, answer)
    print_windows(console, answer, brief=brief)
    for name in LISTED:
        if answer["summary"][name]:
            shorter = brief and name == "affected"
            entries = [one for one in entries_of(name) if not shorter or one["verdict_changes"]]
            heading = _heading(name, answer["summary"], shorter)
            table = doubt_table if name == "cannot_be_excluded" else entry_table
            console.print(table(entries, heading))
            if len(entries) > MOST_ROWS:
                console.print(f"... and {len(entries) - MOST_ROWS} more; --json has all of them")
    console.print(counts(answer["summary"]))


def print_standing(console: Console, answer: Json) -> None:
    """Print whether a stored recall still holds, where it does not or nobody knows."""
    staleness = answer.get("staleness", {})
    if answer.get("stale") == "checking":
        waits = staleness["checking"]
        console.print(f"CHECKING against today's records since {waits['since']}: {waits['cause']}")
    if answer.get("stale") is True:
        found = staleness["differences"]
        counted = ", ".join(
            f"{found[kind]['count']} {kind}" for kind in KINDS if found[kind]["count"]
        )
        said = counted or "its window or the fault itself would be another"
        console.print(Text(f"STALE since {staleness['at']}: {staleness['cause']} ({said})", "bold"))
    if staleness.get("reopen"):
        console.print("The case is closed and to be reopened: report the fault again (--previous).")


def print_windows(console: Console, answer: Json, *, brief: bool = False) -> None:
    """Print the window of each fault, and the checks that moved its start or did not."""
    for window in [answer["window"]] if "window" in answer else answer["windows"]:
        console.print(window_sentence(window))
        if window["checks"] and not brief:
            table = plain_table("check", "made at", "start of the window", "because")
            for one in window["checks"]:
                moved = Text("MOVED here", "green") if one["moves_start"] else Text("not moved")
                table.add_row(one["check"], one["at"], moved, one["why"])
            console.print(table)
    for note in answer["notes"]:
        console.print(f"Note: {note}")


def entry_table(entries: Iterable[Json], title: str) -> Table:
    """Certificates of one list, those with changed statements first."""
    ordered = sorted(entries, key=_weight)
    starts = {path[0] for entry in ordered for path in entry["reason_paths"][:1]}
    start = starts.pop() if len(starts) == 1 else None
    table = plain_table(title=title, title_style="bold")
    for name in ("certificate", "item"):
        table.add_column(name, no_wrap=True)
    table.add_column("customer")
    table.add_column("gen", justify="right", no_wrap=True)
    table.add_column(f"path from {start}" if start else "path")
    table.add_column("largest shift", justify="right", no_wrap=True)
    table.add_column("verdict before -> after")
    table.add_column("|shift|/U", justify="right", no_wrap=True)
    for entry in ordered[:MOST_ROWS]:
        revision = f"\nrev. {entry['revision']}" if entry["revision"] else ""
        dated = "\ndate only" if entry.get("date_only") else ""
        size = entry.get("max_shift_over_U")
        table.add_row(
            f"{entry['certificate']}{revision}{dated}",
            entry["item"],
            entry.get("customer", entry.get("issuer") or "-"),
            str(entry["generation"]),
            _path(entry, start),
            _largest_shift(entry),
            _verdicts(entry),
            "-" if size is None else short(size),
        )
    return table


def doubt_table(entries: Iterable[Json], title: str) -> Table:
    """Certificates that the records cannot exclude, and why."""
    table = plain_table("certificate", "item", "customer", "because", title=title)
    for entry in list(entries)[:MOST_ROWS]:
        revision = f"\nrev. {entry['revision']}" if entry["revision"] else ""
        owner = entry.get("customer", entry.get("issuer") or "-")
        table.add_row(f"{entry['certificate']}{revision}", entry["item"], owner, entry["detail"])
    return table


def counts(summary: Json) -> Table:
    """How many certificates each list holds, and what the lists mean."""
    generations = ", ".join(f"{n} in generation {g}" for g, n in summary["by_generation"].items())
    meanings = {
        "affected": "the fault reached them, with an effect",
        "verdict_changes": "of these, a statement of conformity no longer holds",
        "could_change": "of these, one may no longer hold",
        "undecided": "of these and the indeterminate, no verdict can be given",
        "indeterminate": "the fault reached them, its effect is not known",
        "cannot_be_excluded": "may rest on the fault, though the records do not say so",
        "exposed_zero_effect": "the fault reached them, without effect",
        "traced_not_recalled": "superseded, voided or never issued",
        "cleared": "used the item, but window, channel, part, range or record clears them",
        "customers": "own what is affected or indeterminate",
    }
    table = plain_table("list", "number", "meaning", right=("number",))
    for name, meaning in meanings.items():
        table.add_row(words(name), str(summary[name]), meaning)
    if generations:
        table.caption, table.caption_justify = f"Affected or indeterminate: {generations}", "left"
    return table


def _heading(name: str, summary: Json, shorter: bool) -> str:
    if name == "cannot_be_excluded":
        return f"{summary[name]} that the records cannot exclude: a person must find out"
    if name == "indeterminate":
        return f"{summary[name]} indeterminate: the effect is not known and a person must judge"
    changed = f"; the {summary['verdict_changes']} whose statement changes:" if shorter else ""
    return f"{summary[name]} affected certificates{changed}"


def _weight(entry: Json) -> tuple[bool, bool, Decimal]:
    """Order of a list: changed statements, then those that could change, then by |shift|/U."""
    size = entry.get("max_shift_over_U")
    changed, could = entry.get("verdict_changes") is True, entry.get("could_change") is True
    return not changed, not could, -Decimal(size or 0)


def _path(entry: Json, start: str | None) -> str:
    path = entry["reason_paths"][0][:-1]
    more = entry["path_count"] - 1
    said = " > ".join(path[1:] if start else path) or "direct"
    return said + (f" (+{more} more)" if more else "")


def _largest_shift(entry: Json) -> str:
    """Largest shift of a point, with its unit; points of one certificate share a unit."""
    known = [point for point in entry["points"] if point["shift"] is not None]
    if not known or entry["overall"] is None:
        return "not known"
    worst = max(known, key=_size)
    shift = worst["shift"]
    if isinstance(shift, Mapping):
        return f"{_signed(shift['lower'])} .. {_signed(shift['upper'])} {worst['unit']}"
    return f"{_signed(shift)} {worst['unit']}"


def _size(point: Json) -> Decimal:
    shift = point["shift"]
    ends = shift.values() if isinstance(shift, Mapping) else [shift]
    return max(abs(Decimal(end)) for end in ends)


def _signed(number: str) -> str:
    return short(number) if number == "0" or number.startswith("-") else "+" + short(number)


def _verdicts(entry: Json) -> Text:
    """Verdicts before and after, a line for each stage; a change is a word as well as a colour."""
    if entry["overall"] is None:
        return Text("not known", "yellow")
    lines = []
    for stage, overall in entry["overall"].items():
        points = [point for point in entry["points"] if point["stage"] == stage]
        changed = sum(point["changed"] is True for point in points)
        line = Text() if stage == "single" else Text(f"{words(stage)} ")
        before, after = (words(overall[at] or "none") for at in ("before", "after"))
        if any(len(point.get("verdicts_possible", ())) > 1 for point in points):
            line.append(f"{before} -> COULD CHANGE", "yellow")
        else:
            line.append(f"{before} -> {after}")
            if changed:
                same = before == after
                colour = COLOURS.get(overall["after"] or "", "yellow")
                line.append(
                    f" {CHANGED}{f' at {changed} points' if same else ''}", f"bold {colour}"
                )
        contradicted = sum("decided_before" in point for point in points)
        if contradicted:
            line.append(f"\ncontradicted its rule before at {contradicted} point(s)", "yellow")
        lines.append(line)
    return Text("\n").join(lines)
