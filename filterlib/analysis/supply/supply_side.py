"""The battery's side, the plug and the switch-on of one design, where its file says anything of them."""

from __future__ import annotations

from collections.abc import Sequence

from filterlib.analysis.supply.at_the_plug import at_the_plug
from filterlib.analysis.supply.battery_run import battery_run
from filterlib.analysis.supply.supply_result import SupplySide
from filterlib.analysis.supply.switch_on import switch_on
from filterlib.errors import CircuitError
from filterlib.system.solution import Solution

__all__ = ["supply_side"]


def supply_side(solutions: Sequence[Solution]) -> SupplySide | None:
    """Of a design solved at its operating points; None where its file states neither what feeds the converter nor its current limit.

    Raises FilterlibError where no voltage of the battery is known.
    """
    design = solutions[0].design
    try:
        start, why = switch_on(design), ""
    except CircuitError as error:
        start, why = None, str(error)
    if not design.states_battery_side:
        return SupplySide(None, None, start, why) if design.converter.limit is not None else None
    run = battery_run(solutions)
    return SupplySide(run, at_the_plug(design, run.most if run.most == run.most else 0.0), start, why)
