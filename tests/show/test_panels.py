"""Panels without a kernel: controls, the kept picture, what a check finds, references, snapping, saving."""

from __future__ import annotations

import asyncio
import io
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from filterlib import load_design
from filterlib.errors import FilterlibError, QuantityError
from filterlib.parts.capacitor import Capacitor
from filterlib.show.notebook_pages.notebooks import METADATA
from filterlib.show.panels import (
    Calculation,
    Choice,
    Control,
    Drawn,
    Guess,
    Lesson,
    Panel,
    PanelError,
    Try,
    envelope,
    parts,
)  # fmt: skip
from filterlib.show.panels.axis_limits import limits
from filterlib.show.panels.front import longest_texts
from filterlib.show.panels.paper import style
from filterlib.show.panels.small_circuit import circuit_svg
from filterlib.show.panels.theme import Theme
from filterlib.system.design import Design
from tests.show import panel_maker as maker

# ---- controls -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start": "100 µF"}, "outside its range"),
        ({"low": "1 µF", "high": "1 µF"}, "every step would be zero"),
        ({"steps": 0}, "at least one step"),
        ({"low": "1 µF", "high": "1.01 µF", "start": "1 µF"}, "the same value"),
        ({"low": 0.0}, "above zero"),
        ({"start": "1 mH"}, "not F"),
    ],
)
def test_a_slider_that_cannot_be_is_refused_by_name(changes, words):
    fields = {"name": "C", "label": "capacitance", "unit": "F", "low": "100 nF", "high": "10 µF", "start": "1 µF"}
    with pytest.raises(QuantityError, match=words) as raised:
        Control(**{**fields, **changes})
    assert "capacitance" in str(raised.value)


def test_scale_follows_the_unit():
    """C, L, R and frequency in ratios; volts, kelvin and percent in differences."""
    kinds = {unit: Control("x", "x", unit, 1, 100, 10).scale for unit in ("F", "H", "ohm", "Hz", "V", "K", "%")}
    assert kinds == dict.fromkeys(("F", "H", "ohm", "Hz"), "log") | dict.fromkeys(("V", "K", "%"), "linear")


def test_positions_are_what_is_read_and_hold_ends_and_start():
    control = Control("C", "capacitance", "F", "100 nF", "47 µF", "2.2 µF")
    assert {1e-7, 47e-6, 2.2e-6} <= set(control.values)
    assert all(float(f"{value:.2e}") == value for value in control.values)
    assert all(control.place(value) == at for at, value in enumerate(control.values))
    assert control.place(1.0) == 100


# ---- limits -------------------------------------------------------------------------------------------------------


def test_limits_move_seldom():
    """hand: a curve that grows by 1 % a step up to a hundredfold moves linear limits at most at 1, 2, 5 and between."""
    old, moves = None, 0
    for size in 1.01 ** np.arange(460):
        new = limits(-size, size, old)
        assert new[0] <= -size
        assert new[1] >= size
        moves += new != old
        old = new
    assert moves <= 3 * 3 * 2 + 1


def test_limits_go_back_and_forth_without_flutter():
    """A value that trembles about a limit moves the axis once."""
    old, seen = None, set()
    for size in (0.99, 1.01) * 20:
        old = limits(0.0, size, old)
        seen.add(old)
    assert len(seen) <= 2


def test_a_curve_that_stands_still_has_an_axis():
    for value in (0.0, 28.0, -3e-9):
        low, high = limits(value, value)
        assert low <= value <= high
        assert high > low


def test_decades_are_whole():
    assert limits(0.003, 0.02, log=True) == (0.001, 0.1)
    assert limits(0.003, 0.02, (1e-4, 0.1), log=True) == (1e-4, 0.1)  # one spare decade is kept
    assert limits(0.03, 0.05, (1e-4, 0.1), log=True) == (0.01, 0.1)


def test_an_envelope_keeps_extremes_and_their_order():
    """hand: a fall from 1 to 0 stays a fall, over the same time."""
    x, y = envelope(np.linspace(0, 1, 4096), np.linspace(1, 0, 4096))
    assert (y[0], y[-1], len(x), len(y)) == (1, 0, 1024, 1024)
    assert (np.diff(y) < 0).all()
    assert (x[0], x[-1] > 0.99) == (0, True)


# ---- the panel ----------------------------------------------------------------------------------------------------


def pixels(panel):
    return np.asarray(Image.open(io.BytesIO(panel.png)).convert("RGB")).astype(int)


def test_a_good_panel_passes_its_check_and_stands_as_before():
    panel = maker.panel()
    before, shown = panel.values, panel.png
    panel.check()
    assert panel.values == before
    assert np.array_equal(pixels(panel), np.asarray(Image.open(io.BytesIO(shown)).convert("RGB")))


def test_moving_changes_result_picture_numbers_and_sentence():
    """hand: 1/(2 pi 1 kohm 1 uF) = 159.155 Hz."""
    panel = maker.panel()
    assert panel.result.corner == pytest.approx(159.1549431, rel=1e-9, abs=0)
    before, sentence = panel.png, panel.sentence
    panel.move("farads", "2.2 µF")
    assert panel.result.corner == pytest.approx(159.1549431 / 2.2, rel=1e-9, abs=0)
    assert panel.png != before
    assert panel.sentence != sentence
    assert panel.table[0]["text"] == "72.3 Hz"


def test_at_answers_and_moves_nothing():
    panel = maker.panel()
    assert panel.at({"ohms": "10 kohm"}).corner == pytest.approx(15.91549431, rel=1e-9, abs=0)
    assert panel.result.corner == pytest.approx(159.1549431, rel=1e-9, abs=0)


def broken_end(pair):
    if pair.ohms < 200:
        raise FilterlibError("no such resistor")
    return maker.compute(pair)


def far_away(answer):
    return maker.FREQUENCIES * 1e9, answer.level


def hole(answer):
    return maker.FREQUENCIES, np.where(answer.corner < 50, np.nan, answer.level)


def still(answer):
    return maker.FREQUENCIES, np.zeros(51)


def dead():
    return [*maker.controls(), Control("spare", "spare", "ohm", 1, 10, 1)]


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        ({"compute": broken_end}, "resistance at its low end, 100 Ω: FilterlibError: no such resistor"),
        ({"controls": dead}, "spare: does nothing"),
        ({"picture": lambda: maker.picture(far_away)}, "lies wholly outside its axes"),
        ({"picture": lambda: maker.picture(hole)}, "is not finite"),
        ({"refine": lambda pair, answer, tick: 1 / 0}, "refined: ZeroDivisionError"),
    ],
)
def test_a_check_finds_what_is_wrong_and_says_where(pieces, words):
    panel = maker.panel(**pieces)
    with pytest.raises(PanelError, match=words):
        panel.check()
    assert (panel.values["ohms"], panel.values["farads"]) == (1e3, 1e-6)
    assert not panel.error


def test_a_check_finds_a_picture_that_stands_still():
    plain = maker.picture(still)
    plain.plots[0].marks[1].__dict__["numbers"] = lambda answer: (100.0,)
    with pytest.raises(PanelError, match="the picture stays"):
        maker.panel(picture=lambda: plain).check()


def test_an_error_is_said_and_raised_and_the_last_picture_stays_marked():
    panel = maker.panel(compute=broken_end)
    good = panel.png
    with pytest.raises(FilterlibError, match="no such resistor"):
        panel.move("ohms", "150 ohm")
    assert (panel.error, panel.old, panel.png) == ("no such resistor", True, good)
    panel.move("ohms", "1 kohm")
    assert (panel.error, panel.old) == ("", False)


def test_an_error_at_the_start_is_no_panel():
    with pytest.raises(ZeroDivisionError):
        maker.panel(compute=lambda pair: 1 / 0)


def test_through_the_browser_a_move_arrives_and_an_error_is_raised_again():
    panel = maker.panel(compute=broken_end)
    front, before = panel.front(), panel.png
    front._pressed(None, {"moves": [["farads", 100, 1]]}, None)
    assert panel.values["farads"] == 1e-5
    assert front.picture == panel.address
    assert panel.png != before
    with pytest.raises(FilterlibError, match="no such resistor"):
        front._pressed(None, {"moves": [["ohms", 0, 2]]}, None)
    assert front.view["error"] == "no such resistor"
    assert front.view["old"]


def test_up_to_three_references_are_kept_and_told_apart():
    panel = maker.panel()
    for farads in ("2 µF", "3 µF", "4 µF", "5 µF"):
        panel.keep()
        panel.move("farads", farads)
    assert panel.table[0]["kept"] == ["79.6 Hz", "53.1 Hz", "39.8 Hz"]
    shown = [line for line in panel.picture.axes[0].lines if line.get_visible() and len(line.get_xdata())]
    looks = {(line.get_color(), str(line._dash_pattern)) for line in shown}
    assert len(shown) == len(looks) == 5
    texts = [text.get_text() for text in panel.picture.figure.legends[0].get_texts()]
    assert texts == ["low-pass", "corner", "kept 1", "kept 2", "kept 3"]
    panel.forget()
    assert panel.table[0]["kept"] == []


def test_back_to_start_is_exact():
    panel = maker.panel()
    shown = panel.png
    panel.move("ohms", "3.3 kohm")
    panel.back()
    assert panel.png == shown
    assert panel.values == {"ohms": 1e3, "farads": 1e-6}


def test_background_is_drawn_anew_only_when_limits_move(monkeypatch):
    panel, drawn = maker.panel(), []
    whole = panel.picture.canvas.draw
    monkeypatch.setattr(panel.picture.canvas, "draw", lambda: (drawn.append(1), whole()))
    for farads in ("1.1 µF", "1.2 µF", "1.3 µF"):
        panel.move("farads", farads)
    assert not drawn
    panel.move("farads", "10 µF")
    assert drawn == [1]


def test_the_kept_picture_is_the_picture_drawn_whole():
    """second method: the same result in a picture of its own."""
    panel = maker.panel()
    panel.move("farads", "1.2 µF")
    fresh = maker.panel(start=replace(maker.Pair(), farads=1.2e-6), controls=lambda: [maker.controls()[0]])
    assert np.array_equal(panel.picture.pixels(), fresh.picture.pixels())


def test_the_png_is_small_and_true():
    panel = maker.panel()
    assert len(panel.png) < 30_000
    assert np.abs(pixels(panel) - panel.picture.pixels()[..., :3]).max() <= 40  # of 255: 64 colours


def test_dark_ground_and_back():
    panel = maker.panel()
    light = panel.png
    panel.restyle(dark=True)
    assert pixels(panel)[2, 2].tolist() == [28, 28, 28]
    assert Theme(dark=True).colour("#0072B2") != "#0072B2"
    panel.restyle(dark=False)
    assert panel.png == light


def test_figures_for_a_page_hold_the_moving_curves(tmp_path):
    panel = maker.panel()
    panel.restyle(dark=True)
    svg = panel.save_figure(tmp_path).read_text(encoding="utf-8")
    assert "#0072b2" in svg.lower()  # the curve, in the colours of paper
    whole = np.asarray(Image.open(tmp_path / "low-pass-1.png").convert("RGB")).astype(int)
    assert (np.abs(whole - [0, 114, 178]).sum(axis=-1) < 40).sum() > 500
    panel.save_figure(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "low-pass-1.png", "low-pass-1.svg", "low-pass-2.png", "low-pass-2.svg",
    ]  # fmt: skip


# ---- parts and designs --------------------------------------------------------------------------------------------


def tide_gauge(design: Design) -> Panel:
    """A panel on the demo: what C1 has."""
    ceramics = {name: part for name, part in parts(Capacitor).items() if part.kind == "ceramic_class_2"}
    controls = [
        Choice("filter.C1.part", "C1", ceramics),
        Control("filter.C1.capacitance", "C1 capacitance", "F", "100 nF", "47 µF"),
        Control("filter.C1.esl", "C1 ESL", "H", "0.5 nH", "10 nH"),
        Control("filter.C1.mounting_loop", "C1 loop", "H", "1 nH", "20 nH"),
    ]

    def compute(one):
        stage = one.filter[0]
        return maker.compute(maker.Pair(1e10 * (stage.part.esl + stage.mounting_loop.value), stage.part.capacitance))

    return Panel("C1", Calculation(design, compute), controls, maker.panel().display)


@pytest.fixture
def demo():
    from filterlib.parts.tables import data_folder

    return tide_gauge(load_design(data_folder() / "designs" / "tide-gauge-clean.toml"))


def test_a_part_is_loosened_by_its_sliders_and_chosen_anew(demo):
    assert demo.values["filter.C1.part"] == "class2-2u2-50V-1206"
    assert demo.state.place("filter.C1.part") >= 0
    demo.move("filter.C1.capacitance", "3.3 µF")
    assert demo.state.place("filter.C1.part") == -1
    assert demo.design.filter[0].part.capacitance == 3.3e-6
    assert demo.design.filter[0].part.name == "class2-2u2-50V-1206, changed"
    assert demo.design.filter[0].part.bias_curve
    demo.move("filter.C1.part", "class2-1u0-50V-0805")
    assert demo.values["filter.C1.capacitance"] == 1e-6
    assert demo.design.filter[0].part.name == "class2-1u0-50V-0805"
    demo.back()
    assert demo.design == demo.calculation.start


def test_a_move_that_was_answered_is_not_repeated(demo):
    """The browser sends what is not answered yet: a part that was chosen, and then the slider that left it, must not be chosen again."""
    front = demo.front()
    first = ["filter.C1.part", 0, 1]
    front._pressed(None, {"moves": [first]}, None)
    front._pressed(None, {"moves": [first, ["filter.C1.capacitance", 40, 2]]}, None)
    assert (front.view["places"]["filter.C1.capacitance"], front.view["answered"]) == (40, 2)
    assert front.view["places"]["filter.C1.part"] == -1


def test_sliders_snap_to_series_and_to_the_nearest_part(demo):
    """hand: 4.4 uF lies nearer to 4.7 than to 3.9 by ratio, and 4.3 is the nearest of E24."""
    demo.move("filter.C1.capacitance", "4.4 µF")
    demo.snap("E12")
    assert demo.values["filter.C1.capacitance"] == 4.7e-6
    demo.move("filter.C1.capacitance", "4.4 µF")
    demo.snap("E24")
    assert demo.values["filter.C1.capacitance"] == 4.3e-6
    demo.move("filter.C1.esl", "1.3 nH")
    demo.snap("part")
    assert demo.values["filter.C1.part"] == "class2-4u7-50V-1210"
    assert not demo.state.loose("filter.C1.part")
    demo.move("filter.C1.mounting_loop", "5 nH")
    with pytest.raises(FilterlibError, match="belongs to no part"):
        demo.snap("part")


def test_a_saved_design_is_the_one_on_the_sliders(demo, tmp_path):
    demo.move("filter.C1.capacitance", "3.3 µF")
    path = demo.save_design(tmp_path)
    assert load_design(path) == demo.design
    assert f"filterlib review {path} --out" in demo.note  # from where the notebook is
    assert demo.save_design(tmp_path) != path


def test_a_panel_without_a_design_saves_none():
    with pytest.raises(FilterlibError, match="no design"):
        maker.panel().save_design()


def test_names_that_lead_nowhere_are_refused(demo):
    with pytest.raises(FilterlibError, match=r"did you mean"):
        demo.move("filter.C1.capacitence", 1e-6)
    with pytest.raises(FilterlibError, match="no option"):
        demo.move("filter.C1.part", "class2-2u2")
    with pytest.raises(FilterlibError, match="two controls"):
        maker.panel(controls=lambda: [maker.controls()[0]] * 2)


def test_words_are_read_out(demo):
    """Every control has a label, and what it stands at is told with its unit."""
    described = demo.front().controls
    assert [one["label"] for one in described] == ["C1", "C1 capacitance", "C1 ESL", "C1 loop"]
    assert demo.front().view["exact"]["filter.C1.capacitance"] == "2.2 µF"  # between two positions
    demo.move("filter.C1.capacitance", described_value := "100 nF")
    assert described[1]["texts"][demo.front().view["places"]["filter.C1.capacitance"]] == described_value
    assert demo.front().view["from"] == {"filter.C1.part": "class2-2u2-50V-1206"}


# ---- undoing, typing, trying --------------------------------------------------------------------------------------


def test_undo_takes_back_one_move_at_a_time():
    panel = maker.panel()
    panel.move("ohms", "2 kohm")
    panel.move("farads", "2 µF")
    panel.undo()
    assert panel.values == {"ohms": 2e3, "farads": 1e-6}
    panel.undo()
    assert panel.values == {"ohms": 1e3, "farads": 1e-6}
    panel.undo()
    assert panel.note == "nothing to undo"


def test_one_drag_is_undone_as_one():
    panel = maker.panel()
    for place in (50, 51, 52):
        panel.step_to({"farads": place})
    panel.undo()
    assert panel.values["farads"] == 1e-6


def test_a_value_is_typed_and_a_wrong_one_is_said():
    panel = maker.panel()
    front = panel.front()
    front._pressed(None, {"typed": "farads", "text": "3u3"}, None)
    assert panel.values["farads"] == 3.3e-6
    for text in ("3.3 mH", "1 F"):
        with pytest.raises(QuantityError):
            front._pressed(None, {"typed": "farads", "text": text}, None)
        assert "capacitance" in front.view["error"]
    assert panel.values["farads"] == 3.3e-6


def test_a_try_is_ticked_where_its_setting_is_and_says_why_only_then():
    panel = maker.panel()
    lesson = Lesson(Guess("which?", ("R", "C")), (Try("C ten times", {"farads": "10 µF"}, "ten times lower"),))
    panel.display = replace(panel.display, lesson=lesson)
    assert panel.tries == [{"text": "C ten times", "done": False, "why": ""}]
    panel.move("ohms", "2 kohm")
    panel.move("farads", "10 µF")
    assert not panel.tries[0]["done"]  # the other one is not at its start
    panel.move("ohms", "1 kohm")
    assert panel.tries[0] == {"text": "C ten times", "done": True, "why": "ten times lower"}
    panel.back()
    assert panel.tries[0]["done"]
    bundle, about = panel._repr_mimebundle_()
    assert "ten times lower" in bundle["text/markdown"]
    assert about[METADATA] == {"question": "**Guess:** which? (R; C)", "covers": False}


def test_what_is_kept_has_what_takes_longer():
    panel = maker.panel(refine=lambda pair, answer, tick: replace(answer, corner=1.0))
    panel.keep()
    assert panel.table[0]["kept"] == ["1 Hz"]


def test_an_open_notebook_checks_while_the_panel_rests(monkeypatch):
    """Control by control; what is wrong stays below the sliders, and everything is where it was."""
    monkeypatch.setenv("JPY_SESSION_NAME", "notebook.ipynb")
    panel = maker.panel(compute=broken_end)
    panel.move("farads", "2 µF")
    panel.moved_at -= 10

    async def play():
        panel.check()
        assert not panel.error
        await panel._checking

    # in a thread of its own: a browser of other tests has a loop that runs in this one
    with ThreadPoolExecutor(1) as thread, pytest.raises(PanelError, match="resistance at its low end"):
        thread.submit(lambda: asyncio.run(play())).result()
    assert "no such resistor" in panel.error
    assert panel.values == {"ohms": 1e3, "farads": 2e-6}


def test_a_circuit_names_every_part_and_what_it_leads_to():
    """hand: two controls, two buttons; a name is text, never markup."""
    svg = circuit_svg([Drawn("source", "<b>", ("ohms",)), Drawn("capacitor", "C", ("farads", "ohms"))])
    root = ElementTree.fromstring(svg)
    parts = [one for one in root.iter() if one.get("role") == "button"]
    assert [one.get("data-names") for one in parts] == ["ohms", "farads ohms"]
    assert parts[0].get("aria-label") == "<b>: to its slider"


def test_a_circuit_has_room_for_the_longest_value_of_a_slider():
    """hand: 100 nF to 10 µF shows seven letters ("1.02 µF"), at 6.5 px each and 44 px from the part's left."""
    letters = longest_texts(maker.controls())
    assert letters["farads"] == 7
    svg = circuit_svg([Drawn("capacitor", "C", ("farads",))], letters)
    assert float(ElementTree.fromstring(svg).get("width")) >= 44 + 7 * 6.5


def test_the_browser_waits_for_a_check_and_is_not_lost():
    """A notebook server may bring the browser's messages in a thread of their own, beside the check's."""
    panel = maker.panel()
    front = panel.front()
    pressed = threading.Thread(target=front._pressed, args=(None, {"press": "keep"}, None))
    with panel.lock:
        pressed.start()
        pressed.join(0.05)
        assert pressed.is_alive()
        assert not panel.kept
    pressed.join(5)
    assert len(panel.kept) == 1


def test_two_threads_draw_one_after_the_other():
    """matplotlib's settings are the process's: a check's picture and the panel's must not take each other's."""
    drawn = []

    def draw():
        with style():
            drawn.append("other")

    other = threading.Thread(target=draw)
    with style():
        other.start()
        other.join(0.05)
        assert drawn == []
    other.join(5)
    assert drawn == ["other"]
