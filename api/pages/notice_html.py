"""A notice as one HTML document: its style sheet is inside, for screen and print; no scripts."""

from __future__ import annotations

import base64
import hashlib

from flask import render_template
from markupsafe import Markup

from api.pages import notice_text
from api.pages.notice_text import Content

STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 60rem; padding: 1.5rem; color: #1a1a1a; background: #fff;
  font: 1rem/1.45 "DejaVu Sans", Verdana, Arial, sans-serif; }
h1 { font-size: 1.4rem; margin: 1.5rem 0 1rem; }
h2 { font-size: 1.05rem; margin: 1.75rem 0 .5rem; break-after: avoid; }
p { margin: .4rem 0; }
.laboratory, dd { white-space: pre-line; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1rem; margin: 0; }
dt { color: #555; }
dd { margin: 0; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; margin: .6rem 0; font-size: .8rem; width: 100%; }
caption { text-align: left; color: #555; padding-bottom: .3rem; }
th, td { border: 1px solid #999; padding: .25rem .4rem; text-align: left; vertical-align: top; }
th { background: #eee; font-weight: 600; }
tr { break-inside: avoid; }
.changed td { font-weight: 700; background: #fdf0d5; }
.small { font-size: .85rem; color: #444; }
.caution { border: 1px solid #888; border-left-width: .4rem; margin: .8rem 0;
  padding: .6rem .8rem; }
.end, header { margin-top: 1.5rem; }
footer { border-top: 1px solid #999; color: #555; font-size: .75rem; margin-top: 2rem;
  overflow-wrap: anywhere; padding-top: .4rem; }
@page { size: A4; margin: 18mm 15mm; }
@media print {
  body { font-size: 9.5pt; max-width: none; padding: 0; }
  table { font-size: 7.5pt; }
  .changed td, th { background: none; }
  .scroll { overflow: visible; }
}
"""
# The page holds one style sheet of its own, named to the browser by its hash, and loads nothing.
POLICY = (
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    f"style-src 'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'"
)


def html(content: Content, content_hash: str) -> str:
    """Return the whole notice as HTML."""
    return render_template(
        "notice.html",
        notice=content,
        content_hash=content_hash,
        words=notice_text,
        style=Markup(STYLE),
    )
