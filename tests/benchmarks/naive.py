"""The usual way, to compare with: a slider that draws a new figure into an Output widget on each move."""

from __future__ import annotations

import ipywidgets
import matplotlib.pyplot as plt
from IPython.display import clear_output, display

from filterlib.analysis.exploration import explore
from filterlib.show.explore.tide_gauge import LOAD, demo
from filterlib.system.ranges.changes import changed
from filterlib.units import decibels

INCHES = (9.24, 2.26)  # at 100 dots an inch, the size of the panel's picture


def naive() -> ipywidgets.Widget:
    """The same three pictures of the same calculation, with one slider."""
    design = demo("clean")
    slider = ipywidgets.FloatLogSlider(value=1e-6, min=-8, max=-3, step=0.05)
    out = ipywidgets.Output()

    def moved(change):
        shown = explore(changed(design, {"filter.C1.capacitance": change["new"]}), LOAD)
        with out:
            clear_output(wait=True)
            figure = _drawn(shown.nominal)
            display(figure)
            plt.close(figure)

    slider.observe(moved, names="value")
    moved({"new": slider.value})
    return ipywidgets.VBox([slider, out])


def _drawn(one) -> plt.Figure:
    """What the panel's picture holds: three axes with their words, both curves, the requirement, one legend."""
    figure = plt.figure(figsize=INCHES, dpi=100, layout="constrained")
    axes = figure.subplot_mosaic([["response", "step", "ripple"]])
    _curves(
        axes["response"],
        "Modem over ripple source",
        one.frequencies,
        decibels(one.without_filter),
        decibels(one.with_filter),
    )
    _curves(axes["step"], "After a step of its current", one.times, one.step_before, one.step)
    _curves(axes["ripple"], "One period of its ripple", one.period, one.ripple_before, one.ripple)
    axes["response"].set(xscale="log", xlabel="frequency [Hz]", ylabel="level [dB]")
    axes["step"].set(xlabel="time [s]", ylabel="deviation [V]")
    axes["ripple"].set(xlabel="time [s]", ylabel="ripple [V]")
    for level in (-7.5e-3, 7.5e-3):
        axes["ripple"].axhline(level, color="black", linestyle="--")
    figure.legend(axes["step"].lines, ["without filter", "with filter"], loc="outside upper left", ncols=2)
    return figure


def _curves(axes, title, x, *curves) -> None:
    axes.set_title(title)
    axes.grid()
    for y in curves:
        axes.plot(x, y)
