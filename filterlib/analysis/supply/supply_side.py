"""The battery's side and the plug of one design, where its file says anything of what feeds the converter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from filterlib.analysis.supply.at_the_plug import PlugResult, at_the_plug
from filterlib.analysis.supply.battery_run import BatteryRun, battery_run
from filterlib.analysis.supply.rules import Check
from filterlib.system.solution import Solution

__all__ = ["SupplySide", "against", "supply_side"]


@dataclass(frozen=True)
class SupplySide:
    """``run``: current, energy, wire, fuse and switch; ``plug``: the hot plug and what helps."""

    run: BatteryRun
    plug: PlugResult

    @property
    def checks(self) -> tuple[Check, ...]:
        """All of both."""
        return (*self.run.checks, *self.plug.checks)


def supply_side(solutions: Sequence[Solution]) -> SupplySide | None:
    """Of a design solved at its operating points; None where its file says nothing of what feeds the converter.

    Raises FilterlibError where no voltage of the battery is known.
    """
    design = solutions[0].design
    if not design.states_battery_side:
        return None
    run = battery_run(solutions)
    return SupplySide(run, at_the_plug(design, run.most if run.most == run.most else 0.0))


def against(found: SupplySide | None) -> tuple[Check, ...]:
    """The rules of the battery's side and the plug that are not met over the whole range."""
    return tuple(one for one in (found.checks if found else ()) if one.verdict in ("not met", "undecided"))
