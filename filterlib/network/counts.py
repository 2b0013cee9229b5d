"""How much was made: what shows whether work that could be shared is done again."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass
class Counts:
    """Numbers that only grow, until `reset`.

    Attributes: ``solvers`` (circuits that were solved at all, each with values of its own), ``structures`` (circuits that differ
    in more than values), ``equations`` (sets of equations written: of a structure one for each set of nodes that are kept), ``plans``
    (eliminations planned: one a structure, tree and kind of values), ``programs`` (lists of steps written from plans:
    one a set of sources), ``dense`` (points solved by pivoted LAPACK).
    """

    solvers: int = 0
    structures: int = 0
    equations: int = 0
    plans: int = 0
    programs: int = 0
    dense: int = 0

    def reset(self) -> None:
        """All numbers back to 0. What was made is kept: a plan that exists is not counted again."""
        for one in fields(self):
            setattr(self, one.name, 0)


COUNTS = Counts()
"""The counts of this process."""
