"""Answers as they are kept in a file, and what differs between two such files.

An answer is kept under what was asked, with the SHA-256 of what was sent (`asked`), its status, its
headers, and the SHA-256 of its body; the body too, packed, unless it is long even so.
"""

from __future__ import annotations

import base64
import difflib
import hashlib
import json
import re
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.bench.answers_still import FILE_TIME, masked

FORMAT = 1
LONGEST_PACKED = 24 * 1024
MOST_LINES = 12
Kept = dict[str, Any]


def digest(*parts: bytes) -> str:
    """SHA-256 of parts, each with its length."""
    made = hashlib.sha256()
    for part in parts:
        made.update(b"%d:" % len(part) + part)
    return made.hexdigest()


@dataclass
class Book:
    """The answers of one run; `folder` is where the run has its files."""

    folder: Path
    answers: dict[str, Kept] = field(default_factory=dict)
    masks: Counter[str] = field(default_factory=Counter)
    _asked: Counter[str] = field(default_factory=Counter)

    def keep(
        self,
        name: str,
        sent: bytes,
        status: int,
        body: bytes,
        headers: Sequence[tuple[str, str]] = (),
    ) -> None:
        """Keep an answer; the same question again is told apart by its number."""
        self._asked[name] += 1
        if self._asked[name] > 1:
            name = f"{name} #{self._asked[name]}"
        shown, put = masked(body, self.folder)
        self.masks += put
        # Its length goes with what is masked.
        skipped = "content-length" if put else ""
        told = sorted(f"{key}: {text}" for key, text in headers if key.lower() != skipped)
        told = [FILE_TIME.sub("<file time>", one) for one in told]
        self.masks["file time"] += sum("<file time>" in one for one in told)
        kept: Kept = {
            "asked": digest(masked(sent, self.folder)[0])[:16],
            "status": status,
            "headers": told,
            "sha256": digest(shown),
            "bytes": len(shown),
        }
        packed = base64.b85encode(zlib.compress(shown, 9))
        if len(packed) <= LONGEST_PACKED:
            kept["packed"] = packed.decode()
        self.answers[name] = kept

    def write(self, file: Path, facts: Mapping[str, Any]) -> None:
        """Write all to a file of JSON."""
        whole = {"format": FORMAT, **facts, "answers": self.answers}
        file.write_text(json.dumps(whole, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")


def read(file: Path) -> dict[str, Any]:
    """Read what `write` wrote; raises ValueError for anything else."""
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    if found.get("format") != FORMAT:
        raise ValueError(f"{file} does not hold answers of this form; write it again")
    return found


def differences(before: Mapping[str, Kept], after: Mapping[str, Kept]) -> Iterator[str]:
    """Say of each answer that differs what was asked, and where it differs first."""
    for name in before.keys() | after.keys():
        if name not in before or name not in after:
            yield f"{name}\n  only {'after' if name not in before else 'before'}"
            continue
        old, new = before[name], after[name]
        if old == new:
            continue
        said = [name]
        if old["asked"] != new["asked"]:
            said.append("  something else was sent (it may hold an answer that differs)")
        if old["status"] != new["status"]:
            said.append(f"  status {old['status']} became {new['status']}")
        for sign, one, other in (("-", old, new), ("+", new, old)):
            said += [f"  {sign} {h}" for h in one["headers"] if h not in other["headers"]]
        if old["sha256"] != new["sha256"]:
            said += _bodies(old, new)
        yield "\n".join(said)


def _bodies(old: Kept, new: Kept) -> list[str]:
    if "packed" not in old or "packed" not in new:
        return [f"  body of {old['bytes']} bytes became another of {new['bytes']}"]
    first, second = (_lines(zlib.decompress(base64.b85decode(one["packed"]))) for one in (old, new))
    changed = [
        f"  {line[:300]}"
        for line in difflib.unified_diff(first, second, n=0, lineterm="")
        if not line.startswith(("---", "+++", "@@"))
    ]
    more = len(changed) - MOST_LINES
    return changed[:MOST_LINES] + ([f"  ... and {more} lines more"] if more > 0 else [])


def _lines(body: bytes) -> list[str]:
    """Lines of a text; those of JSON on one line are cut where a member ends."""
    text = body.decode("utf-8", "backslashreplace")
    return [part for line in text.splitlines() for part in re.split(r"(?<=,)(?=[\"{\[])", line)]
