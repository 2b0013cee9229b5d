"""Blind: from what a scope saw at the terminals to what it sees at the load, on circuits that are not the library's own."""

import re
from pathlib import Path

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.ripple import ripple
from filterlib.system.solution import solve
from tests import make_recordings as invented

DESIGNS = Path(__file__).parents[2] / "data" / "designs"


def truth(name):
    """Peak to peak at the modem in 20 MHz, by the independent circuit behind its filter [V]."""
    plant = invented.PLANTS[name]
    wave = plant.filtered(plant.scale())
    return float(np.ptp(invented.limited(wave, plant.period, 20e6, plant.order)))


def figure(design):
    return ripple(solve(design)).figures["modem", "20MHz"]


def with_converter(design, **changes):
    return design.replace(converter=design.converter.replace(**changes))


def terminals_alone(name, folder):
    """The recorded design without its second recording."""
    text = (DESIGNS / f"tide-gauge-{name}-recorded.toml").read_text(encoding="utf-8")
    path = folder / f"{name}.toml"
    kept = re.sub(r"\[converter\.ripple\.with_capacitor\].*?\n(?=\n\[)", "", text, flags=re.S)
    path.write_text(kept.replace("../recordings", (DESIGNS.parent / "recordings").as_posix()), encoding="utf-8")
    design = load_design(path)
    assert design.converter.ripple.with_capacitor is None
    return design


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    return terminals_alone("clean", tmp_path_factory.mktemp("designs"))


def test_clean_from_the_recording_alone(clean):
    """The band, choke and capacitors with their tolerances, holds the circuit's value; its ends are at most 1 : 4 apart."""
    found = figure(clean)
    assert found.low < truth("clean") < found.high  # second method
    assert found.high / found.low < 4


def test_clean_from_its_figure_alone_agrees(clean):
    """The same design from 110 mV peak to peak, without the recording: its band holds the value and overlaps."""
    found, recorded = figure(load_design(DESIGNS / "tide-gauge-clean.toml")), figure(clean)
    assert found.low < truth("clean") < found.high  # second method
    assert found.low < recorded.peak_to_peak < found.high


def test_clean_from_two_recordings():
    """What is inside is identified; with the choke's leakage read on a bridge (5 %), and the lead's inductance as it is, the ends are at most 1 : 1.8 apart."""
    design = load_design(DESIGNS / "tide-gauge-clean-recorded.toml")
    stages = tuple(
        stage.replace(part=stage.part.replace(leakage_tolerance=0.05)) if stage.name == "L1" else stage
        for stage in design.filter
    )
    lead = design.loads[0].lead.replace(spacing=4.0e-3)
    assert 2 * lead.self_inductance - 2 * lead.mutual_inductance == pytest.approx(
        0.38e-6, rel=0.03, abs=0
    )  # as in the circuit
    loads = (design.loads[0].replace(lead=lead), *design.loads[1:])
    found = figure(design.replace(filter=stages, loads=loads))
    assert found.low < truth("clean") < found.high  # second method
    assert found.high / found.low < 1.8  # ESR, ESL and mounting are typical values
    assert "two recordings" in design.converter.output_capacitance.why


@pytest.mark.parametrize(
    "wrong",
    [
        {"output_capacitance": "2.2 µF ± 20 %", "shape": "pulse"},
        {"output_capacitance": "220 µF ± 20 %", "shape": "pulse"},
    ],
)
def test_a_wrong_converter_falls_outside(wrong):
    """Internal capacitor off by ten and the wrong shape: the band from the figure alone does not hold the value."""
    found = figure(with_converter(load_design(DESIGNS / "tide-gauge-clean.toml"), **wrong))
    assert not found.low < truth("clean") < found.high  # second method


def test_brick_from_the_recording_alone(tmp_path):
    """Mostly common mode, which no differential reading tells: held, in a band as wide as what the file says of it."""
    found = figure(terminals_alone("brick", tmp_path))
    assert found.low < truth("brick") < found.high  # second method
    assert found.by_source["common_mode"] > 0.5 * found.peak_to_peak


def test_the_bricks_ripple_without_its_common_mode():
    """What the recorded ripple alone leaves at the modem, against the circuit with its cabinet current switched off."""
    found = figure(load_design(DESIGNS / "tide-gauge-brick-recorded.toml"))
    plant = invented.PLANTS["brick"]
    net = invented.Network()
    plant.build(net, plant.scale())
    net.pushed = [(a, b, 0 * amperes if a == "cabinet" else amperes) for a, b, amperes in net.pushed]
    invented.demo_filter(net)
    wave = net.steady(plant.period, "modem", "modem_return")
    alone = float(np.ptp(invented.limited(wave, plant.period, 20e6, plant.order)))
    assert found.by_source["ripple"] == pytest.approx(alone, rel=0.25, abs=0)  # second method
