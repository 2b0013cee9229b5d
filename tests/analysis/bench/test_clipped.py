"""What an earthed scope shows with its clip on, beside what is there: by hand, by a dense solution, by laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib.analysis.bench.clipped import clipped
from filterlib.analysis.ripple.ripple import ripple
from filterlib.errors import FilterlibError, InputError
from filterlib.system.line.clip import Clip
from filterlib.system.ranges.changes import changed, value, with_clip
from filterlib.system.solution import solve
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.units import format_quantity
from filterlib.words.stability_sentences import clip_sentence
from tests.dense import dense_transfer
from tests.designs import common_mode, converter, design, series, shunt

DRIVE = {"swing": "28 V", "coupling": "100 pF", "resistance": "15 ohm"}
SOURCE = converter(shape="triangle", duty=0.4, edge_time="30 ns", bond={}, common_mode=DRIVE)


def board(**more):
    return design(shunt(), common_mode(), shunt(), **{"source": SOURCE} | more)


@pytest.fixture(scope="module")
def found():
    return clipped(board(), "modem")


def test_it_is_the_ripple_of_the_design_with_and_without_the_clip(found):
    """second method: the ripple analysis of the two designs."""
    one = board()
    off, on = (ripple(solve(held), interval=False).figures for held in (one, with_clip(one, "modem")))
    for label in ("20MHz", "full"):
        figures = found.figures[label]
        for seen, place, held in (
            (figures.seen, "modem", off), (figures.there, "modem", on), (figures.shown, "measured", on),
            (figures.own_clip, "tip_on_clip", on),
        ):  # fmt: skip
            assert seen == pytest.approx(held[place, label].peak_to_peak, rel=1e-9, abs=0)


def test_difference_and_modes_against_a_dense_solution(found):
    """second method: both circuits solved densely by numpy; modes by their definition, differential v+ - v- and (v+ + v-)/2."""
    one = board()
    forces = source_spectra(one.converter, 4.0)
    f, waves = forces.frequencies[1:], {}
    for arrangement, held in (("without", one), ("with", with_clip(one, "modem"))):
        circuit = held.circuit()
        ports = [("load_plus", "chassis"), ("0", "chassis"), ("load_plus", "clip")]
        ports = ports if held.clip else ports[:2]
        drives = {"ripple": forces.ripple + forces.spike, "common_mode": forces.common_mode}
        made = sum(np.array(dense_transfer(circuit, f, name, ports)) * c[1:] for name, c in drives.items())
        plus, minus = made[:2]
        waves[arrangement] = made[2] if held.clip else plus - minus
        for mode, c in (("differential", plus - minus), ("common", (plus + minus) / 2)):
            rms = np.sqrt(2 * np.sum(np.abs(c) ** 2))
            assert found.rms[arrangement, mode] == pytest.approx(rms, rel=1e-6, abs=0)
    c = np.fft.rfft(found.waveforms["difference", "full"])[1 : len(f) + 1] / len(found.times)
    gap = waves["with"] - waves["without"]
    np.testing.assert_allclose(c, gap, rtol=0, atol=1e-6 * np.abs(gap).max())


def test_the_scope_shows_what_is_there_and_the_voltage_along_its_lead(found):
    """hand: tip to clip's end = tip to the return + along the lead, at every time; the lead's is L di/dt of its current."""
    for label in ("20MHz", "full"):
        wave = {what: found.waveforms[what, label] for what in ("seen", "there", "shown", "own_clip", "difference")}
        scale = np.abs(wave["shown"]).max()
        np.testing.assert_allclose(wave["shown"], wave["there"] + wave["own_clip"], rtol=0, atol=1e-9 * scale)
        np.testing.assert_allclose(wave["difference"], wave["shown"] - wave["seen"], rtol=0, atol=1e-12 * scale)
    assert found.current > found.current_rms > 0


@settings(max_examples=8, deadline=None)
@given(st.floats(20, 400))
def test_a_scope_far_from_earth_shows_the_truth_whatever_its_lead(nanohenries):
    """law: without earth no current, without current nothing along the lead, and the load sees what it saw."""
    far = Clip(place="modem", lead_inductance=nanohenries * 1e-9, earth_resistance=1e6)
    figures = clipped(board(), "modem", clip=far).figures["full"]
    assert figures.difference < 1e-2 * figures.seen
    assert figures.too_much == pytest.approx(0, rel=0, abs=1e-2 * figures.seen)


def test_without_a_drive_the_clip_changes_nothing_and_the_sentence_says_so():
    """law: where nothing drives the chassis, and nothing else reaches it, an earthed clip carries nothing."""
    quiet = clipped(design(shunt(), series(), shunt()), "modem")
    assert quiet.figures["full"].difference < 1e-6 * quiet.figures["full"].seen
    assert "changes nothing" in clip_sentence(quiet)
    assert np.isnan(quiet.rms["without", "common"])


def test_the_sentence_tells_both_readings(found):
    at = found.figures["full"]
    assert at.too_much > at.seen  # the point of it: more than twice what is there
    assert all(format_quantity(volts, "V", 3) in clip_sentence(found) for volts in (at.shown, at.seen, at.own_clip))


def test_a_clip_of_the_design_is_taken_off_for_the_comparison_and_kept_for_the_reading(found):
    lead = {"place": "modem", "lead_inductance": "300 nH"}
    own = clipped(board(clip=lead), "modem")
    assert own.clip.lead_inductance.value == pytest.approx(300e-9, rel=1e-12, abs=0)
    assert own.figures["full"].seen == pytest.approx(found.figures["full"].seen, rel=1e-12, abs=0)
    assert own.figures["full"].own_clip != pytest.approx(found.figures["full"].own_clip, rel=0.1, abs=0)


def test_an_unstable_circuit_has_no_reading():
    load = {"name": "modem", "kind": "constant_power", "power": "100 W", "loop_bandwidth": "50 kHz"}
    one = clipped(design(series("470 µH", "1 mΩ"), shunt("1 µF"), load=load), "modem")
    assert "unstable" in clip_sentence(one)
    assert not one.figures


def test_bad_input_is_named():
    with pytest.raises(FilterlibError, match=r'no place "moden"; .*modem'):
        clipped(board(), "moden")
    with pytest.raises(FilterlibError, match="no operating point"):
        clipped(board(), "modem", point="nowhere")
    with pytest.raises(InputError, match="no chassis"):
        clipped(design(shunt(), chassis=False), "modem")


# ---- sliders reach the clip ---------------------------------------------------------------------------------------------


def test_the_clips_values_are_changed_by_their_key():
    one = with_clip(board(), "modem")
    more = changed(one, {"clip.lead_inductance": 300e-9, "clip.earth_resistance": "1 ohm"})
    assert value(more, "clip.lead_inductance") == 300e-9
    assert more.clip.earth_resistance.value == 1.0
    # hand: the range moves along, 50 to 250 nH about 150 nH becomes 100 to 500 nH
    assert more.clip.lead_inductance.high == pytest.approx(500e-9, rel=1e-12, abs=0)
    with pytest.raises(FilterlibError, match=r"clip\.lead_inductance: the design has no clip"):
        changed(board(), {"clip.lead_inductance": 1e-9})
    with pytest.raises(FilterlibError, match="lead_inductance"):
        value(one, "clip.lead")
    with pytest.raises(FilterlibError, match="leads to no value"):
        changed(one, {"clip": None})


def test_figure_shows_both_and_cuts_nothing_off(found):
    from filterlib.show.figures.drawing import svg
    from filterlib.show.figures.modal_figures import clip_figure
    from tests.show.words_drawn import faults, texts

    figure = clip_figure(found)
    assert faults(svg(figure)) == []
    shown, seen = figure.plots[0].marks
    np.testing.assert_allclose(shown.y, found.waveforms["shown", "full"], rtol=1e-12, atol=0)
    np.testing.assert_allclose(seen.y, found.waveforms["seen", "full"], rtol=1e-12, atol=0)
    assert found.convention in texts(svg(figure))
    ends = {figure.limits(plot, "y") for plot in figure.plots}
    assert len(ends) == 1  # one scale for all
