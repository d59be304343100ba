"""The picture of a decision: what is drawn, where, and that no label is lost."""

from __future__ import annotations

import re
import struct
from decimal import Decimal
from itertools import combinations, pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import Decision, decide
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Guard, Rule
from api.services.base.figures import SMALL, width_of
from api.services.decisions.figure import decision_figure

SVG = "{http://www.w3.org/2000/svg}"
TWO = Limits(Decimal(9), Decimal(11))
UPPER = Limits(None, Decimal(11))
ASYMMETRIC = Rule(guard=Guard("absolute", width=(Decimal("0.1"), Decimal("0.3"))), zones=4)
RELAXED = Rule(guard=Guard("U", factor=Decimal(-1)))


def decided(value="10.8", U="0.2", limits=TWO, rule=BUILT_IN["guard_U"]) -> Decision:
    return decide(Decimal(value), Decimal(U), limits, rule, unit="kN")


def svg(decision: Decision) -> ET.Element:
    return ET.fromstring(decision_figure(decision, "kN", "svg", "Decision 1"))


def texts(root: ET.Element) -> list[str]:
    """Every text that can be selected in the picture."""
    return ["".join(node.itertext()).strip() for node in root.iter(f"{SVG}text")]


def place_of(root: ET.Element, gid: str) -> float:
    """Horizontal place of the first point of a named part."""
    (group,) = [node for node in root.iter(f"{SVG}g") if node.get("id") == gid]
    path = next(group.iter(f"{SVG}path")).get("d")
    used = next(group.iter(f"{SVG}use"), None)
    return float(used.get("x") if used is not None else re.match(r"M ([-\d.]+)", path)[1])


def ids(root: ET.Element) -> set[str]:
    return {node.get("id", "") for node in root.iter(f"{SVG}g")}


def test_limits_and_result_are_drawn_in_the_order_of_their_numbers():
    root = svg(decided("10.3"))
    order = ["tolerance-lower", "acceptance-lower", "result", "acceptance-upper", "tolerance-upper"]
    places = [place_of(root, gid) for gid in order]
    assert places == sorted(places)
    assert len(set(places)) == 5
    # 9, 9.2, 10.3, 10.8 and 11 on one straight scale
    scale = (places[4] - places[0]) / 2
    for place, number in zip(places, (9, 9.2, 10.3, 10.8, 11), strict=True):
        assert place - places[0] == pytest.approx(scale * (number - 9), abs=0.01)


def test_every_number_stands_there_as_text_with_its_unit():
    shown = texts(svg(decided("10.3")))
    for words in (
        "Pass: 10.3 kN, U = 0.2 kN",
        "tolerance limit 9 kN",
        "tolerance limit 11 kN",
        "acceptance limit 9.2 kN",
        "acceptance limit 10.8 kN",
        "guard band, w = 0.2 kN",
        "result ± U (k = 2)",
        "Value in kN",
    ):
        assert words in shown
    assert any("guard_U, version 1" in words for words in shown)


def test_four_zones_are_named_and_hatched_differently():
    root = svg(decided("11.1", rule=BUILT_IN["four_state_U"]))
    found = [gid.split("-", 2) for gid in ids(root) if gid.startswith("zone-")]
    zones = [zone for _, _, zone in sorted(found, key=lambda parts: int(parts[1]))]
    half = ["fail", "conditional_fail", "conditional_pass"]
    assert zones == [*half, "pass", *half[::-1]]
    assert {"pass", "fail", "conditional pass", "conditional fail"} <= set(texts(root))
    patterns = list(root.iter(f"{SVG}pattern"))
    assert len({ET.tostring(pattern) for pattern in patterns}) >= 4


def test_a_single_limit_is_drawn_alone():
    found = ids(svg(decided("10.7", limits=UPPER)))
    assert {"tolerance-upper", "acceptance-upper", "guard-upper"} <= found
    assert not {gid for gid in found if gid.endswith("-lower")}


def test_guard_bands_that_differ_are_both_named():
    root = svg(decided("10", rule=ASYMMETRIC))
    assert "guard bands, w = 0.1 kN below, 0.3 kN above" in texts(root)
    lower = place_of(root, "acceptance-lower") - place_of(root, "tolerance-lower")
    upper = place_of(root, "tolerance-upper") - place_of(root, "acceptance-upper")
    assert upper == pytest.approx(3 * lower, rel=1e-3)


def test_relaxed_acceptance_limits_lie_outside():
    root = svg(decided("11.1", rule=RELAXED))
    assert place_of(root, "acceptance-upper") > place_of(root, "tolerance-upper")
    assert "relaxed beyond the tolerance, w = -0.2 kN" in texts(root)


def test_an_empty_acceptance_has_no_acceptance_limits_and_says_why():
    root = svg(decided("10", "1.5"))
    assert not {gid for gid in ids(root) if gid.startswith("acceptance-")}
    assert any("no result can pass" in words for words in texts(root))


def test_without_a_guard_band_both_limits_are_one_line():
    root = svg(decided(rule=BUILT_IN["simple"]))
    assert "tolerance = acceptance limit 11 kN" in texts(root)
    assert not {gid for gid in ids(root) if gid.startswith(("acceptance-", "guard-"))}


def test_a_result_far_outside_is_an_arrow_and_leaves_the_limits_readable():
    root = svg(decided("15000"))
    assert "result" not in ids(root)
    assert "15000 kN, U = 0.2 kN, outside the picture" in texts(root)
    assert place_of(root, "tolerance-upper") - place_of(root, "tolerance-lower") > 100


def test_a_tolerance_of_a_millionth_is_drawn_like_any_other():
    limits = Limits(Decimal("9999999.9998"), Decimal("10000000.0002"))
    root = svg(decided("10000000.00012", "0.00005", limits))
    gids = ("tolerance-lower", "acceptance-lower", "result", "acceptance-upper", "tolerance-upper")
    places = [place_of(root, gid) for gid in gids]
    assert places == sorted(places)
    assert min(b - a for a, b in pairwise(places)) > 10


numbers = st.decimals(-20, 20, places=2)


@settings(max_examples=12, deadline=None)
@given(numbers, st.decimals(0, 5, places=2), numbers, st.decimals(0, 5, places=2), st.data())
def test_the_labels_of_limits_never_cover_one_another(value, U, lower, width, data):
    limits = Limits(lower, lower + width)
    rule = data.draw(st.sampled_from([*BUILT_IN.values(), ASYMMETRIC, RELAXED]))
    if data.draw(st.booleans()):
        limits = Limits(None, limits.upper)
    root = svg(decide(value, U, limits, rule, unit="kN"))
    boxes = []
    for node in root.iter(f"{SVG}text"):
        text = "".join(node.itertext()).strip()
        if "limit" in text and text.endswith("kN"):
            left = float(node.get("x"))
            boxes.append((left, left + width_of(text), float(node.get("y"))))
    assert boxes
    for one, other in combinations(boxes, 2):
        apart = one[1] <= other[0] or other[1] <= one[0]
        assert apart or abs(one[2] - other[2]) > SMALL


def test_the_same_decision_gives_the_same_bytes():
    for kind in ("svg", "png"):
        first, second = (decision_figure(decided(), "kN", kind, "Decision 1") for _ in range(2))
        assert first == second


def test_a_png_file_is_wide_enough_to_print():
    content = decision_figure(decided(), "kN", "png", "Decision 1")
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", content[16:24])
    assert (width, height) > (1200, 500)
    assert height < width
