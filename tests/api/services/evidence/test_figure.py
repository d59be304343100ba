"""The picture of a recall: shapes tell lists, a cross a change, heavy lines what leads there."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from linked_entries import keyed

from api.services.evidence.figure import recall_figure
from graph.affected import affected_part

SVG = "{http://www.w3.org/2000/svg}"
REF = {"item": "REF", "kind": "unknown"}


def entry(number, item, *path, listed="affected", generation=1, **more):
    made = {"certificate": number, "revision": 0, "item": item, "class": listed}
    made |= {"generation": generation, "reason_paths": [list(path)], "path_count": 1}
    return made | {"verdict_changes": False} | more


ENTRIES = [
    entry("W-1", "WS", "REF", "W-1"),
    entry("W-2", "WS-2", "REF", "W-2", listed="exposed_zero_effect"),
    entry("C-1", "A", "REF", "W-1", "WS", "C-1", generation=2, verdict_changes=True),
    entry("C-2", "B", "REF", "W-1", "WS", "C-2", generation=2, listed="indeterminate"),
]


def drawn(entries, chosen=None):
    return ET.fromstring(
        recall_figure(affected_part(*keyed([REF], entries)), "svg", "R-00001", chosen)
    )


def texts(root):
    return {"".join(node.itertext()).strip() for node in root.iter(f"{SVG}text")}


def shape(root, node):
    """Outline of the mark of a node."""
    (group,) = [one for one in root.iter(f"{SVG}g") if one.get("id") == node]
    return next(group.iter(f"{SVG}path")).get("d")


def test_everything_is_named_and_counted_for_who_reads_and_who_listens():
    root = drawn(ENTRIES)
    found = texts(root)
    assert {"W-1", "W-2", "C-1", "C-2", "WS", "A", "B", "REF", "R-00001: REF"} <= found
    assert {"generation 1", "2 certificates", "2 certificates, 1 change"} <= found
    said = "2 affected; 1 indeterminate; 1 exposed, no effect. A verdict changes on 1."
    assert said in found
    title = next(one for one in root.iter() if one.tag.endswith("}title")).text
    assert title == f"R-00001: REF. {said}"


def test_the_legend_explains_what_is_there_and_nothing_else():
    found = texts(drawn(ENTRIES))
    assert {"affected", "indeterminate", "exposed, no effect", "a verdict changes"} <= found
    assert not {"traced, not recalled", "a verdict could change", "several, counted"} & found


def test_each_list_has_a_shape_of_its_own():
    more = [
        entry("T-1", "T", "REF", "T-1", listed="traced_not_recalled"),
        entry("N-1", "N", "REF", "N-1", listed="cannot_be_excluded", generation=None),
    ]
    root = drawn([*ENTRIES, *more])
    names = ("W-1", "W-2", "C-2", "T-1", "N-1")
    shapes = {name: shape(root, f"certificate/{name}/0") for name in names}
    assert len(set(shapes.values())) == 5
    assert shape(root, "certificate/C-1/0") == shapes["W-1"]  # both are affected


def widths(root):
    """How many lines there are of each width."""
    styles = [node.get("style", "") for node in root.iter(f"{SVG}path")]
    return {
        width: sum(f"stroke-width: {width};" in f"{style};" for style in styles)
        for width in ("0.5", "0.9", "2")
    }


def test_lines_that_end_at_a_change_are_heavy_until_a_certificate_is_chosen():
    # REF to W-1 and W-2, W-1 to C-1 (a change) and to C-2.
    assert widths(drawn(ENTRIES)) == {"0.5": 3, "0.9": 1, "2": 0}
    # REF to W-1 and W-1 to C-2 lead to the chosen one.
    assert widths(drawn(ENTRIES, "certificate/C-2/0")) == {"0.5": 2, "0.9": 0, "2": 2}
    assert widths(drawn(ENTRIES, "certificate/NOSUCH/0")) == widths(drawn(ENTRIES))


def test_the_heavy_lines_are_drawn_over_the_thin_ones():
    styles = [node.get("style", "") for node in drawn(ENTRIES).iter(f"{SVG}path")]
    found = [width for style in styles for width in ("0.5", "0.9") if f"width: {width};" in style]
    assert found == ["0.5", "0.5", "0.5", "0.9"]


def test_a_recall_that_reached_nothing_says_so():
    assert "Nothing rests on the fault." in texts(drawn([]))


def test_a_long_name_is_cut_and_the_sheet_stays_bounded():
    root = drawn([entry("N" * 60, "I" * 60, "REF", "N" * 60)])
    assert any(text.startswith("NNN") and text.endswith("…") for text in texts(root))
    assert float(root.get("width").removesuffix("pt")) < 1000


def test_the_picture_comes_as_png_too():
    made = recall_figure(affected_part(*keyed([REF], ENTRIES[:1])), "png", "R-00001")
    assert made.startswith(b"\x89PNG\r\n\x1a\n")  # PNG (W3C), 5.2
