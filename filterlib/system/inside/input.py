"""The converter on another input voltage than the one at which its figures were measured."""

from __future__ import annotations

import numpy as np

from filterlib.parts.values import Value
from filterlib.system.inside.converter import Converter

_LEAST, _MOST = 0.01, 0.99  # of a duty cycle


def on_input(converter: Converter, voltage: float) -> tuple[Converter, Value]:
    """The converter with the duty cycle and swing of another input voltage, and how much larger its ripple current is.

    Parameters
    ----------
    converter : Converter
        Its ``input_voltage`` is stated; values may be arrays (designs, 1).
    voltage : float
        The other input voltage [V].

    Returns
    -------
    tuple of Converter and float or array (designs, 1)
        The ratio is that of the triangle's peak to peak, or of the pulse's height at the same load current.

    Notes
    -----
    Ideal stages in continuous conduction. With an output inductor the duty cycle d is inversely proportional to the
    input voltage and the triangle's size goes as 1 - d. A step-up stage has 1 - d = Vin/Vout, a flyback or inverting
    stage d/(1 - d) inversely proportional to Vin, and both an output pulse of Iout/(1 - d).
    Source: R. W. Erickson and D. Maksimović, "Fundamentals of Power Electronics", 3rd ed. (2020), chapter 2 (from
    memory).

    Examples
    --------
    >>> one = Converter(name="Tarn", input_voltage=56, output_voltage=28, switching_frequency=1e5, duty=0.5,
    ...                 shape="triangle", ripple={"peak_to_peak": 0.1})
    >>> moved, larger = on_input(one, 112)
    >>> float(moved.duty.value), float(larger)
    (0.25, 1.5)
    """
    assert converter.input_voltage is not None  # checked where the design is read
    duty, times = converter.duty.value, converter.input_voltage / voltage
    steps_up = converter.output_voltage > converter.input_voltage and not converter.isolated
    if converter.shape != "pulse":
        moved = duty * times
    elif steps_up:
        moved = 1 - (1 - duty) / times
    else:
        moved = duty * times / (1 - duty + duty * times)
    moved = np.clip(moved, _LEAST, _MOST)
    left = (1 - moved) / (1 - duty)  # how much longer the main switch is open
    update: dict[str, object] = {"duty": converter.duty.at(moved)}
    if converter.common_mode is not None:
        swing = converter.common_mode.swing
        share = 1 / times if converter.shape != "pulse" else 1.0 if steps_up else 1 / times / left
        update["common_mode"] = converter.common_mode.model_copy(update={"swing": swing.at(swing.value * share)})
    return converter.model_copy(update=update), left if converter.shape != "pulse" else 1 / left
