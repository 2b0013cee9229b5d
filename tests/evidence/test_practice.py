"""What the trade expects of such a board: common practice, no source. Two 1 uF capacitors and a common-mode choke whose
leakage is about a percent of its inductance."""

import numpy as np
import pytest

from filterlib.analysis.bode import bode
from filterlib.analysis.ripple import ripple
from tests.designs import common_mode, converter, design, film, resistive, shunt

CASES = {  # switching frequency: (choke of one winding, its leakage of the loop) that a person would pick for it
    "100 kHz": ("2.2 mH", "33 µH"),
    "150 kHz": ("1.5 mH", "15 µH"),
    "250 kHz": ("0.6 mH", "5.5 µH"),
}
LOAD = resistive("9.3 ohm")  # 28 V, 3 A


def board(frequency: str):
    inductance, leakage = CASES[frequency]
    source = converter(switching_frequency=frequency, shape="triangle", ripple={"peak_to_peak": "200 mV"})
    return design(shunt(), common_mode(inductance, leakage), shunt(), source=source, load=LOAD)


@pytest.mark.parametrize("frequency", CASES)
def test_200_mV_becomes_about_20_mV(frequency):
    """common practice, no source: ten to one, within a factor of two over plausible converters (each unknown alone)."""
    found = ripple(board(frequency), board(frequency).state())
    assert found.figures["modem_before", "20MHz"].peak_to_peak == pytest.approx(0.2, rel=0.01, abs=0)
    assert 10e-3 < found.figures["modem", "20MHz"].peak_to_peak < 40e-3
    inside = [effect for effect in found.unknowns if effect.key.startswith("converter.")]
    assert inside
    for effect in inside:
        assert effect.pp_at_low > 10e-3, effect
        assert effect.pp_at_high < 40e-3, effect


@pytest.mark.parametrize("frequency", [30e6, 50e6])
def test_far_less_than_the_ideal_formula_at_30_to_50_MHz(frequency):
    """common practice, no source: ESL, winding capacitance and loop coupling leave at least 40 dB less than the ideal
    1 / |1 - w^2 L C| (behind a stiff terminal voltage), and still some attenuation."""
    found = bode(board("150 kHz"), board("150 kHz").state(), "modem", frequencies=np.array([frequency]))
    real = -20 * np.log10(abs(found.load_over_terminals[0]))
    ideal = 20 * np.log10(abs(1 - (2 * np.pi * frequency) ** 2 * 15e-6 * 1e-6))
    assert 10 < real < ideal - 40


def test_each_imperfection_costs():
    """The same board with its strays taken away attenuates more at 30 MHz: first the coupling of the loops, then their inductance."""

    def attenuation(esl="5 nH", loop="4 nH", coupling="0.3 nH", winding="12 pF", between="10 pF"):
        capacitor = {"kind": "capacitor", "part": film(esl=esl), "mounting_loop": loop}
        choke = common_mode("1.5 mH", "15 µH")
        choke["part"] |= {"winding_capacitance": winding, "interwinding_capacitance": between}
        one = design(
            {**capacitor, "name": "C1"}, choke, {**capacitor, "name": "C2"}, source=converter(shape="triangle"), load=LOAD,
            coupling=[{"first": "C1", "second": "C2", "mutual": coupling}],
        )  # fmt: skip
        found = bode(one, one.state(), "modem", frequencies=np.array([30e6]))
        return -20 * np.log10(abs(found.load_over_source[0]))

    real = attenuation()
    uncoupled = attenuation(coupling=0.0)
    assert uncoupled > real + 3
    assert attenuation(coupling=0.0, esl=0.0, loop="1 nH") > uncoupled + 10
    assert attenuation(winding=0.0, between=0.0) != pytest.approx(real, rel=1e-3, abs=0)
