"""The battery's side, the plug and the switch-on of one design, where its file says anything of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from filterlib.analysis.supply.at_the_plug import PlugResult, at_the_plug
from filterlib.analysis.supply.battery_run import BatteryRun, battery_run
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.supply.switch_on import SwitchOn, switch_on
from filterlib.errors import CircuitError
from filterlib.system.solution import Solution

__all__ = ["SupplySide", "supply_side"]


@dataclass(frozen=True)
class SupplySide:
    """``run``: current, energy, wire, fuse and switch; ``plug``: the hot plug and what helps; both None where the file says nothing of
    what feeds the converter. ``switch_on``: whether the loads run after it, None where no limit is stated, or where ``why_no_start`` says."""

    run: BatteryRun | None = None
    plug: PlugResult | None = None
    switch_on: SwitchOn | None = None
    why_no_start: str = ""

    @property
    def checks(self) -> tuple[Check, ...]:
        """All of them."""
        return tuple(
            check for part in (self.run, self.plug, self.switch_on) if part is not None for check in part.checks
        )


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
