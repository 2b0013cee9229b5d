"""Guess, try, see, understand: what every notebook and every panel of one has, and what the texts say of the pictures."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from filterlib.show.notebook_pages.notebooks import notebooks
from filterlib.show.panels import Control
from filterlib.system.ranges.changes import changed
from filterlib.units import quantity
from tests.show.explore_panels import MAKERS

DRAWN = ("07 common mode", "10 damping")  # the picture of the first is its circuit, the second has a choice of three


@pytest.fixture(scope="module", params=MAKERS)
def named(request):
    """Name and panel."""
    return request.param, MAKERS[request.param]()


def test_every_panel_asks_for_a_guess_and_has_moves(named):
    """published: the notebooks' own promise of three moves or more."""
    lesson = named[1].display.lesson
    assert lesson.guess is not None
    assert len(lesson.guess.options) >= 2
    assert len(lesson.tries) >= 3
    assert len({one.text for one in lesson.tries}) == len(lesson.tries)


FIGURE = re.compile(r"(?<![\w.])(\d[\d,]*(?:\.\d+)?) ?([mµnpkM]?)(Ω|V|A|W|s|dB|Hz|F|H|J)\b")
PREFIXES = {"M": 1e6, "k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9, "p": 1e-12}
ELSEWHERE = {  # figures of an explanation's first sentence that its panel shows at another setting, or another page
    "capacitance to 10 µF": ("5.1 nH",),
    "the part class2-10u-10V-0805 at a bias of 5 V": ("10 µF",),
    "capacitance across a winding to 100 pF": ("30 MHz",),
    "the switching frequency five times as high: 900 kHz (under more)": ("360 kHz", "1.2 mV"),
    "the choke cm-330u-10A (under more)": ("16.4 mV", "30 mV"),
    "the choke cm-4m7-2A": ("1.0 mV", "3.7 A"),
    "with them, octave around 1.5 MHz": ("471 µA",),
    "Y capacitors: 2 × 10 nF, before the choke, octave around 50 MHz": ("15 µA",),
    "added part to 10 times the filter's": ("0.469 Ω",),
    "probe and scope: readings ten times too high": ("540 kHz",),
    "an electrolytic beside it": ("0.16 Ω",),
    "a burst of 100 ms": ("79 ms",),
}


def figures(text):
    """Value and half of its last digit in SI units, unit, and words of every figure in a text."""
    for found in FIGURE.finditer(text):
        digits, scale = found[1].replace(",", ""), PREFIXES[found[2]]
        rounded = len(digits) - len(digits.rstrip("0")) if digits.isdigit() and len(digits) > 2 else 0
        places = len(digits.partition(".")[2]) - rounded
        yield float(digits) * scale, 0.5 * 10.0**-places * scale, found[3], found[0]


def shown(panel):
    """Value and unit of all that a panel says in figures."""
    texts = [panel.sentence]
    for one in panel.readings:
        texts += [
            one.note,
            one.value if isinstance(one.value, str) else f"{one.value:.9f} {one.unit}".replace("ohm", "Ω"),
        ]
    return {(value, unit) for text in texts for value, _, unit, _ in figures(text)}


def unsaid(one, before, now):
    """Figures of the first sentence of an explanation that the panel shows neither there nor at its start, nor as what it gained [dB]."""
    known = {*before, *now, *((value, unit) for value, _, unit, _ in figures(one.text))}
    known |= {(abs(a - b), "dB") for a, unit in before for b, other in now if unit == other == "dB"}
    sentence = re.split(r"(?<=[.!?]) (?=[A-Z])", one.why)[0]
    return tuple(
        words for value, half, unit, words in figures(sentence)
        if not any(unit == other and abs(value - shown) <= 1.001 * half for shown, other in known)
    )  # fmt: skip


def test_a_slider_gets_exactly_to_what_is_to_be_tried_and_it_is_ticked_there(named):
    """By positions, as a person's slider does it: 10 Ω must not be 9.67 Ω. What the explanation then says is what the panel shows."""
    panel = named[1]
    start = shown(panel)
    for number, one in enumerate(panel.display.lesson.tries):
        panel.back()
        goal = panel.state.copy()
        for name, wanted in one.at.items():
            goal.set(name, wanted)
        panel.step_to({name: goal.place(name) for name in one.at})
        assert number in panel.done, one.text
        for name, wanted in one.at.items():
            control = panel.state.controls[name]
            if isinstance(control, Control):
                assert panel.values[name] == pytest.approx(quantity(wanted, control.unit), rel=1e-12, abs=1e-12), name
        assert unsaid(one, start, shown(panel)) == ELSEWHERE.get(one.text, ()), one.text


def test_four_controls_are_large_and_the_circuit_leads_to_controls(named):
    name, panel = named
    assert sum(not one.more for one in panel.state.controls.values()) <= 4
    circuit = panel.display.circuit
    assert bool(circuit) == (name not in DRAWN)
    assert {control for part in circuit for control in part.controls} <= set(panel.state.controls)
    assert all(part.controls or part.value for part in circuit)


# ---- the notebooks ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=notebooks(), ids=lambda path: path.stem)
def cells(request):
    """The cells of a notebook: kind, text, metadata."""
    book = json.loads(request.param.read_text(encoding="utf-8"))
    return [(cell["cell_type"], "".join(cell["source"]), cell["metadata"]) for cell in book["cells"]]


def test_the_panel_comes_first_and_one_line_says_how_to_run_it(cells):
    kinds = [kind for kind, _, _ in cells]
    assert kinds[:2] == ["markdown", "code"]
    _, words, _ = cells[0]
    assert "(No sliders below? Menu *Run*, *Run All Cells*.)" in words
    assert cells[1][2] == {"jupyter": {"source_hidden": True}}


def test_checks_are_one_folded_cell_at_the_end(cells):
    checking = [
        at for at, (kind, text, _) in enumerate(cells) if kind == "code" and re.search(r"assert |\.check\(\)", text)
    ]
    assert checking == [len(cells) - 1]
    assert cells[-1][2] == {"jupyter": {"source_hidden": True}}
    assert "folded" in cells[-2][1]


def test_no_explanation_of_a_move_stands_in_the_open():
    """What the moves show is on the panel alone, where it unfolds."""
    texts = " ".join("".join(cell["source"]) for path in notebooks() for cell in json.loads(path.read_text())["cells"])
    for make in MAKERS.values():
        for one in make().display.lesson.tries:
            assert one.why not in texts


# ---- what the texts say ----------------------------------------------------------------------------------------------


def prose(number):
    """The words of a notebook."""
    book = json.loads(notebooks()[number - 1].read_text(encoding="utf-8"))
    return " ".join("".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "markdown").replace(
        "\n", " "
    )


def stated(number, pattern):
    """The numbers in the words, as the pattern finds them."""
    found = re.search(pattern, prose(number))
    assert found, pattern
    return [float(one) for one in found.groups()]


def peak(frequencies, values):
    """Where the greatest value is."""
    return frequencies[int(np.argmax(values))]


def test_1_the_curve_follows_c_alone_and_both_panels_have_the_same_bias():
    one, pair = MAKERS["01 one capacitor"]().result, MAKERS["01 two capacitors"]().result
    low = one.frequencies < one.resonance / 20
    assert one.impedance[low] == pytest.approx(one.ideal[low], rel=0.1, abs=0)  # losses; without bias: 0.7
    alone = np.interp(1e5, pair.frequencies, pair.first)
    assert alone == pytest.approx(np.interp(1e5, one.frequencies, one.impedance), rel=0.01, abs=0)
    assert "957" not in prose(1)  # an impedance, and no inductance
    assert one.inductive[-1] == pytest.approx(2 * np.pi * one.frequencies[-1] * 5.1e-9, rel=1e-6, abs=0)  # hand


def test_2_capacitance_takes_over_where_the_picture_shows_it():
    common, loop = stated(2, r"from (\d+\.\d) MHz on in common mode, from (\d+) MHz on out and back")
    result = MAKERS["02 choke"]().result
    assert common * 1e6 == pytest.approx(peak(result.frequencies, result.common), rel=0.08, abs=0)
    assert loop * 1e6 == pytest.approx(peak(result.frequencies, result.loop), rel=0.05, abs=0)


def test_4_the_leakage_rings_where_the_text_says():
    single, both = stated(4, r"at (\d+) kHz with one of them, .*, and at (\d+) kHz with both in series")
    result = MAKERS["04 insertion loss"]().result.loss
    low = result.frequencies < 2e5
    least = {name: peak(result.frequencies[low], -curve[low]) for name, curve in result.symmetrical.items()}
    assert single * 1e3 == pytest.approx(least["0.1/100"], rel=0.05, abs=0)
    assert both * 1e3 == pytest.approx(least["50/50"], rel=0.05, abs=0)
    (ripple,) = stated(4, r"Without the filter the modem has (\d+) mV of ripple")
    before = MAKERS["03 pi filter"]().result.nominal.peak_to_peak_before
    assert ripple * 1e-3 == pytest.approx(before, rel=0.02, abs=0)  # of the load, not 110 mV of the terminals


def test_5_the_cold_electrolytic_raises_the_ripple_and_the_choke_does_not():
    """The ripple at 20 °C with the electrolytic's ESR of 5 °C is the ripple at 5 °C."""
    cold, warm = stated(5, r"the electrolytic at the modem's input then has (0\.\d+) Ω instead of (0\.\d+) Ω at 20 °C")
    panel = MAKERS["05 review"]()
    part = panel.design.named_load("modem").input_capacitor.part
    at = {kelvins: float(part.esr_at(180e3, bias=28.0, temperature=kelvins)) for kelvins in (278.15, 293.15)}
    assert (cold, warm) == pytest.approx((at[278.15], at[293.15]), rel=0.02, abs=0)
    temperature = next(name for name in panel.state.controls if name.endswith("temperature"))
    aged = changed(
        panel.state.design({temperature: "20 °C"}), {"load.modem.input_capacitor.esr": part.esr * cold / warm}
    )
    there = panel.calculation.compute(aged).nominal.peak_to_peak
    assert there == pytest.approx(panel.at({temperature: "5 °C"}).nominal.peak_to_peak, rel=0.03, abs=0)
    assert there > 1.05 * panel.at({temperature: "20 °C"}).nominal.peak_to_peak
