"""A notice as PDF: A4, its number and the page count on every page, fonts embedded.

The fonts cover Latin, Greek and Cyrillic; a character beyond them is shown as a box, and the page
says so. The same content gives the same bytes, since the dates of the file are those of the notice.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from importlib.resources import as_file, files

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace, TTFFont

from api.pages import notice_text as words
from api.pages.notice_text import Content

FONT = "DejaVu"
BODY, SMALL, HEADING, TITLE = 9, 7, 10.5, 13
MARGIN = 15
# Shares of the width for the cells of a point.
COLUMNS = (8, 11, 12, 12, 14, 12, 14, 13, 14)
UNKNOWN = "\ufffd"
UNSHOWN = f"{UNKNOWN} stands for a character that this file cannot show; the other forms do."


def pdf(content: Content, content_hash: str, created_us: int) -> bytes:
    """Return the whole notice as a PDF file; `created_us` is when the notice was created."""
    page = _Page(content["notice"], content_hash)
    page.set_creation_date(datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=created_us))
    page.set_title(page.shown(words.title(content)))
    page.set_author(page.shown(content["laboratory"]["name"]))
    page.set_lang("en")
    page.add_page()
    _head(page, content)
    for certificate in content["certificates"]:
        _certificate(page, certificate)
    page.ln(3)
    for name in ("offer", "downstream"):
        page.paragraph(content[name])
    page.paragraph(f"Caution. {content['safety']}", framed=True)
    page.paragraph(f"Please confirm that you received this notice by {content['reply_by']}.")
    page.paragraph(f"Authorised by {content['authorised_by']}", style="B")
    if page.unshown:
        page.paragraph(UNSHOWN, size=SMALL)
    return bytes(page.output())


class _Page(FPDF):
    """Pages with our fonts, margins and footer."""

    def __init__(self, number: str, content_hash: str) -> None:
        super().__init__(format="A4")
        self.unshown = False
        self._footer = f"Notice {number}. Content SHA-256 {content_hash}. Page "
        folder = files("api.pages") / "fonts"
        for style, name in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            with as_file(folder / name) as path:
                self.add_font(FONT, style, path)
        font = self.fonts[FONT.lower()]
        self._covered = set(font.cmap) if isinstance(font, TTFFont) else set()
        self.set_margins(MARGIN, MARGIN)
        self.set_auto_page_break(True, margin=MARGIN + 5)
        self.set_font(FONT, "", BODY)

    def footer(self) -> None:
        """Write number, hash and page count at the foot of a page."""
        self.set_y(-MARGIN)
        self.set_font(FONT, "", SMALL - 1)
        self.cell(0, 5, f"{self._footer}{self.page_no()} of {{nb}}", align="C")

    def shown(self, said: str) -> str:
        """Return the text with boxes for characters that the fonts lack."""
        covered = "".join(c if c == "\n" or ord(c) in self._covered else UNKNOWN for c in said)
        self.unshown |= covered != said
        return covered

    def paragraph(
        self, said: str, style: str = "", size: float = BODY, framed: bool = False
    ) -> None:
        """Write one paragraph over the whole width."""
        self.set_font(FONT, style, size)
        self.multi_cell(
            0,
            size * 0.5,
            self.shown(said),
            border=1 if framed else 0,
            align="L",
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
            padding=2 if framed else 0,
        )
        self.ln(1.2)


def _head(page: _Page, content: Content) -> None:
    laboratory = content["laboratory"]
    page.paragraph(laboratory["name"], "B", HEADING)
    rest = [laboratory[name] for name in ("address", "contact") if laboratory[name]]
    page.paragraph("\n".join(rest))
    page.ln(3)
    page.paragraph(words.title(content), "B", TITLE)
    for label, said in words.about(content):
        page.set_font(FONT, "", BODY)
        page.cell(35, BODY * 0.5, label)
        page.multi_cell(
            0, BODY * 0.5, page.shown(said), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )
    page.ln(3)
    page.paragraph("What was wrong", "B", HEADING)
    for one in content["what_was_wrong"]:
        page.paragraph(one)
    page.paragraph("Period concerned: " + "; ".join(content["periods"]) + ".")


def _certificate(page: _Page, certificate: Content) -> None:
    page.ln(3)
    if page.will_page_break(30):
        page.add_page()  # a heading never stands alone at the foot of a page
    page.paragraph(words.heading(certificate), "B", HEADING)
    page.paragraph("Item: " + words.identity(certificate))
    page.paragraph(certificate["effect"])
    if certificate["points"]:
        _table(page, certificate)
    for rule in words.rules(certificate):
        page.paragraph(rule, size=SMALL)
    page.paragraph("Now: " + certificate["may_read_wrong_now"]["words"])
    action = certificate["action"]["words"]
    page.paragraph(f"What to do: {action} {words.amended(certificate) or ''}".rstrip(), "B")


def _table(page: _Page, certificate: Content) -> None:
    page.set_font(FONT, "", SMALL - 0.5)
    with page.table(
        col_widths=COLUMNS,
        line_height=3.4,
        padding=0.8,
        text_align="LEFT",
        borders_layout=TableBordersLayout.ALL,
        headings_style=FontFace(emphasis="BOLD", fill_color=(238, 238, 238)),
    ) as table:
        table.row(words.HEADINGS)
        for point in certificate["points"]:
            marked = FontFace(emphasis="BOLD") if point["changed"] is not False else None
            table.row([page.shown(cell) for cell in words.cells(point)], style=marked)
    page.ln(1.5)
