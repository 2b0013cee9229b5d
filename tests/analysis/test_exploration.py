"""A design explored at one load: what it says at once and later is what the review says."""

import pytest

from filterlib import load_design
from filterlib.analysis.exploration import explore, refined
from filterlib.analysis.review import review
from filterlib.parts.tables import data_folder


@pytest.fixture(scope="module")
def clean():
    return load_design(data_folder() / "designs" / "tide-gauge-clean.toml")


def test_range_and_verdicts_are_those_of_the_review(clean):
    """second method: the review of the same design at the same point."""
    shares = []
    shown = refined(clean, explore(clean, "modem"), shares.append)
    assert shares == sorted(shares)
    whole = review(clean.replace(operating_points=clean.operating_points[:1]))
    assert [one.verdict for one in shown.verdicts] == [one.verdict for one in whole.verdicts]
    figure = whole.points[0].ripple.figures["modem", "20MHz"]
    expected = (figure.peak_to_peak, figure.low, figure.high)
    assert (shown.figure.peak_to_peak, shown.figure.low, shown.figure.high) == pytest.approx(expected, rel=1e-9, abs=0)
    assert shown.nominal.peak_to_peak == pytest.approx(figure.peak_to_peak, rel=1e-9, abs=0)
    assert shown.limit == 0.015  # of the file
    assert shown.decided_by == "spikes in the ripple's reading"  # hand: a factor of five, and no spike is stated


def test_an_unstable_circuit_has_neither_ripple_nor_step(clean):
    """The poles have the last word: without its electrolytic a fast constant power is not held up."""
    bare = clean.replace(loads=tuple(one.replace(input_capacitor=None, loop_bandwidth=500e3) for one in clean.loads))
    shown = refined(bare, explore(bare, "modem"), lambda share: None)
    assert not shown.nominal.stable
    assert shown.figure is None
    assert len(shown.nominal.ripple) == len(shown.nominal.step) == 0
