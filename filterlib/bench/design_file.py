"""The design file with the recordings that it names, which are read where there are any."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from filterlib.errors import Problem
from filterlib.system import files
from filterlib.system.agreement import agreeing
from filterlib.system.design import Design

if TYPE_CHECKING:
    from filterlib.bench.terminals import Taken


def load_design(path: str | Path) -> Design:
    """Read a design file, and the recordings that it names.

    Parameters
    ----------
    path : str or Path
        A TOML file; recordings and part tables are looked for next to it. Under ``converter.ripple``, ``recording`` is
        the name of a CSV file, or a table with ``file`` and what `load_recording` takes; it is in place of
        ``peak_to_peak``. The switching frequency becomes that of the recording, from which the stated one may differ by
        2 %. A second recording, under ``converter.ripple.with_capacitor``, determines C, ESR and inductance inside the converter:
        see `filterlib.bench.fit.fit_inside`. A recording of bursts at light load is named under ``converter.burst``.

    Returns
    -------
    Design
        Frozen; parts and recordings that are named in the file are in it as such. Nominal values at which its readings do
        not agree are moved within their ranges to where they do.

    Raises
    ------
    InputError
        With every problem: file, key, value, and what would be right.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> [load.name for load in design.loads]
    ['modem', 'logger']
    """
    taken: Taken = {}

    def prepare(raw: dict[str, Any], path: Path) -> list[Problem]:
        if not _names_recording(raw):
            return []
        from filterlib.bench.terminals import read_recordings  # only for a design that names a recording

        return read_recordings(raw, path, taken)

    design = files.read_design(path, prepare=prepare)
    if not taken:
        return agreeing(design, str(path))
    from filterlib.bench.terminals import identified

    return agreeing(identified(design, taken, str(path)), str(path))


def _names_recording(raw: dict[str, Any]) -> bool:
    converter = raw.get("converter")
    held = [converter.get(name) for name in ("ripple", "burst")] if isinstance(converter, dict) else []
    return any(isinstance(one, dict) and "recording" in one for one in held)
