"""What a design keeps when it is switched off: energy in its capacitors, and the resistor that takes it out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from filterlib.analysis.described import Farads, Joules, Ohms, Seconds, Unit, Volts, Watts
from filterlib.preferred import preferred_values
from filterlib.system.design import Design

SAFE = (
    1.0  # [V] below which nothing sparks and no semiconductor suffers when a clip touches: common practice, no source
)
PATIENCE = 5.0  # [s] in which a discharge should be over: common practice, no source
MOST_POWER = 50.0  # [W] that a bleeder may take at first: common practice, no source
MARGIN = 2.0  # of a bleeder's power and voltage ratings, so that it survives a supply that was left on: common practice
POWERS = (0.25, 0.5, 1, 2, 3, 5, 7, 10, 15, 25, 50, 100)  # [W] ratings that are sold: common practice, no source


@dataclass(frozen=True)
class Store:
    """Capacitors that stay charged: ``capacitance`` as large as it may be, ``voltage`` at most."""

    name: str
    capacitance: Farads[float]
    voltage: Volts[float]

    @property
    def energy(self) -> Joules[float]:
        """C V**2 / 2 [J], without the loss of capacitance under bias: more than there is."""
        return 0.5 * self.capacitance * self.voltage**2


@dataclass(frozen=True)
class Bleeder:
    """A resistor across charged capacitors, from ``voltage`` to ``safe`` in ``time``.

    ``start_power``: at first, and for ever where the supply is still on; ``power_rating`` and ``voltage_rating`` to look for.
    """

    resistance: Ohms[float]
    voltage: Annotated[float, Unit("V", key="from")]
    safe: Volts[float]
    time: Seconds[float]
    start_power: Watts[float]
    power_rating: Watts[float]
    voltage_rating: Volts[float]


def discharge_time(resistance: float, capacitance: float, voltage: float, safe: float) -> float:
    """Time [s] until ``capacitance`` [F] at ``voltage`` [V] has fallen to ``safe`` [V] through ``resistance`` [ohm].

    t = R C ln(V0 / Vsafe); 0 where it is below already. Valid for a capacitor without dielectric absorption, whose
    voltage comes back by some percent afterwards. Source: exponential discharge, any textbook on circuits.

    >>> round(discharge_time(1e3, 10e-3, 57.0, 10.0), 2)
    17.4
    """
    return resistance * capacitance * float(np.log(voltage / safe)) if voltage > safe else 0.0


def stores(design: Design) -> tuple[Store, ...]:
    """Every capacitor of filter and loads that holds charge, and the converter's own at the end of its range."""
    return tuple(_stores(design))


def _stores(design: Design) -> Iterator[Store]:
    volts = design.converter.output_voltage
    yield Store("inside the converter, at its output", float(design.converter.output_capacitance.high), volts)
    for stage in design.filter:
        yield from _of_part(stage.name, stage, volts)
    for load in design.loads:
        if load.input_capacitor is not None:
            yield from _of_part(f"input of {load.name}", load.input_capacitor, volts)


def _of_part(name: str, stage: Any, volts: float) -> Iterator[Store]:
    if hasattr(stage.part, "rated_voltage"):
        most = float(np.max(stage.part.capacitance * (1 + stage.part.tolerance)))
        yield Store(name, getattr(stage, "count", 1) * most, volts)


def bleeder(stores: Iterable[Store], *, safe: float = SAFE) -> Bleeder:
    """The resistor for capacitors in parallel: done within `PATIENCE` where `MOST_POWER` allows it, else as fast as that does.

    A value of the series E12.

    >>> chosen = bleeder([Store("bank", 100e-6, 28.0)])
    >>> chosen.resistance, round(chosen.time, 2), chosen.power_rating
    (15000.0, 5.0, 0.25)
    """
    charged = tuple(stores)
    voltage = max(store.voltage for store in charged)
    whole = sum(store.capacitance for store in charged)
    fast = PATIENCE / discharge_time(1.0, whole, voltage, safe) if voltage > safe else 1e3
    resistance = max(_rounded(fast, up=False), _rounded(voltage**2 / MOST_POWER, up=True))
    power = voltage**2 / resistance
    return Bleeder(
        resistance=resistance,
        voltage=voltage,
        safe=safe,
        time=discharge_time(resistance, whole, voltage, safe),
        start_power=power,
        power_rating=next((rating for rating in POWERS if rating >= MARGIN * power), POWERS[-1]),
        voltage_rating=MARGIN * voltage,
    )


def _rounded(value: float, *, up: bool) -> float:
    """The next value of E12 at or above, or at or below."""
    decade = np.floor(np.log10(value))
    mantissas = [
        mantissa * 10.0**step for step in (decade - 1, decade, decade + 1) for mantissa in preferred_values("E12")
    ]
    chosen = (
        min(m for m in mantissas if m >= value * (1 - 1e-9))
        if up
        else max(m for m in mantissas if m <= value * (1 + 1e-9))
    )
    return float(f"{chosen:.2g}")
