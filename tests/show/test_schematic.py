"""The circuit diagram: every part with its value, readable when long, names as text."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from filterlib.show.figures.schematic import schematic_svg


def drawn(design):
    root = ElementTree.fromstring(schematic_svg(design))
    return root, ["".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text")]


def test_every_stage_and_load_stands_there_with_its_value(fakes):
    _, words = drawn(fakes.design())
    for text in (
        "C1", "2 × 1 µF", "Y1", "4.7 nF each", "L1", "1 mH common mode", "10 µH in each line", "D1", "470 mΩ", "47 µF",
        "wire pair, 2 m", "modem", "28 W constant power", "logger", "120 Ω resistive", "28 V", "60 V swing", "bond",
        "KD-28 (invented), 180 kHz",
    ):  # fmt: skip
        assert text in words, text


def test_a_value_that_is_only_known_within_a_range_says_so(fakes):
    _, words = drawn(fakes.design())
    assert "≈ 22 µF" in words
    assert "60 V swing" in words


def test_without_a_chassis_no_chassis_line_is_drawn(fakes):
    with_line, _ = drawn(fakes.design())
    without, words = drawn(fakes.design(chassis=False))
    assert "bond" not in words
    assert len(list(without.iter())) < len(list(with_line.iter()))


def test_a_long_design_goes_on_in_rows_of_readable_width(fakes):
    root, words = drawn(fakes.design(repeats=4))
    width = float(root.attrib["viewBox"].split()[2])
    assert width < 1500
    assert {"to row 2", "from row 1", "to row 3", "from row 2"} <= set(words)


@pytest.mark.parametrize("repeats", [1, 3])
def test_no_two_words_lie_on_each_other(fakes, repeats):
    root, _ = drawn(fakes.design(("modem", "logger", "lamp"), repeats=repeats))
    boxes = [_box(element) for element in root.iter("{http://www.w3.org/2000/svg}text")]
    for index, one in enumerate(boxes):
        for two in boxes[index + 1 :]:
            apart = one[0] >= two[1] or two[0] >= one[1] or abs(one[2] - two[2]) > 11
            assert apart, (one, two)


def _box(element):
    """Left, right and baseline of a text, at 6 px a character: an ordinary width of these letters at 12 px."""
    words = "".join(element.itertext())
    long = 6.0 * len(words)
    start = float(element.attrib["x"]) - {"start": 0, "middle": 0.5, "end": 1}[element.attrib["text-anchor"]] * long
    return start, start + long, float(element.attrib["y"]), words


BRIDGED = {"bridge": {"capacitance": "1 nF"}, "supply": {"inductance": "1.5 µH"}}
SHARED = {"isolated": False, "supply": {"inductance": "1.5 µH"}}


@pytest.mark.parametrize("place", ["terminals", "modem", "logger"])
@pytest.mark.parametrize(
    ("more", "shown"), [(BRIDGED, ("1 nF", "cable", "1.5 µH")), (SHARED, ("battery", "1.5 µH", "60 V swing"))]
)
def test_the_ways_through_the_chassis_stand_there_too(fakes, place, more, shown):
    one = fakes.design()
    filter_ = [stage if stage.kind != "capacitor_to_chassis" else stage.replace(bond={"inductance": "40 nH"})
               for stage in one.filter]  # fmt: skip
    one = one.replace(converter=one.converter.replace(**more), filter=filter_, clip={"place": place})
    root, words = drawn(one)
    for text in (*shown, "bond", "stray", "≈ 50 pF", "40 nH shared", "scope's clip", "≈ 150 nH"):
        assert text in words, text
    boxes = [_box(element) for element in root.iter("{http://www.w3.org/2000/svg}text")]
    for index, a in enumerate(boxes):
        assert all(a[0] >= b[1] or b[0] >= a[1] or abs(a[2] - b[2]) > 11 for b in boxes[index + 1 :]), a


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "$x_1$ & µ", "]]> \x07 <!--", "潮位計"])
def test_a_name_is_text_and_never_markup(fakes, text):
    svg = schematic_svg(fakes.renamed(fakes.design(), text))
    root = ElementTree.fromstring(svg)
    assert "<script" not in svg
    shown = text.replace("\x07", "\N{REPLACEMENT CHARACTER}")
    assert sum("".join(e.itertext()) == shown for e in root.iter()) >= 10


def test_the_same_design_gives_the_same_bytes(fakes):
    assert schematic_svg(fakes.design()) == schematic_svg(fakes.design())


@pytest.mark.parametrize("line", ["plus", "return", "both"])
def test_the_damping_of_a_choke_is_drawn_across_it_with_its_values(fakes, line):
    one = fakes.design()
    choke = next(stage for stage in one.filter if stage.kind == "differential_choke")
    second = choke.part.replace(inductance=3.3e-6)
    damped = choke.replace(line=line, damping={"resistance": "4.7 Ω", "part": second})
    _, words = drawn(one.replace(filter=tuple(damped if stage is choke else stage for stage in one.filter)))
    assert "4.7 Ω + 3.3 µH" in words
