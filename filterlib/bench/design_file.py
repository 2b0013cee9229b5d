"""The design file with the recordings that it names, which are read where there are any."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from filterlib.errors import Problem
from filterlib.parts.reading import Toml
from filterlib.system.design import Design
from filterlib.system.file import files
from filterlib.system.sources.agreement import agreeing

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
    return _load(path, lambda raw: None)


def design_of_capture(
    path: str | Path, capture: str | Path, load_current: float | None = None, *, bursts: bool = False
) -> Design:
    """The design of a file with a capture of the converter's bare terminals in place of the ripple that the file states.

    A capture that reaches beyond 20 MHz is in place of the stated spike too. ``capture``: a CSV file, named from where the
    program runs; ``load_current`` [A]: drawn meanwhile, where it is another than the file's; ``bursts``: it is in place of
    what the file states of bursts, and what it states of all loads that are not light stays. Raises: InputError as
    `load_design`; also where the capture has another switching frequency.

    >>> from filterlib.parts.tables import data_folder
    >>> folder = data_folder()
    >>> capture = folder / "recordings" / "clean-terminals.csv"
    >>> design = design_of_capture(folder / "designs" / "tide-gauge-clean.toml", capture)
    >>> round(1e3 * design.converter.ripple.peak_to_peak, 1)  # [mV]
    110.2
    """
    return _load(path, lambda raw: _put_burst(raw, capture) if bursts else _put(raw, Path(capture), load_current))


def _put_burst(raw: Toml, capture: str | Path) -> None:
    """A capture of bursts in place of what the file states of them."""
    from filterlib.bench.capture.recording import load_recording

    if isinstance(raw.get("converter"), dict):
        limit = load_recording(capture).bandwidth
        read = {"file": str(Path(capture).resolve())} | ({} if limit is None else {"bandwidth": limit})
        raw["converter"]["burst"] = {"recording": read}


def _put(raw: Toml, capture: Path, load_current: float | None) -> None:
    """A capture in place of the file's own figures."""
    from filterlib.bench.capture.measurement import BANDWIDTH
    from filterlib.bench.capture.recording import load_recording

    converter = raw.get("converter")
    if not isinstance(converter, dict) or not isinstance(converter.get("ripple"), dict):
        return  # refused with the rest, by the model
    ripple, limit = converter["ripple"], load_recording(capture).bandwidth
    for key in ("peak_to_peak", "rms", "fundamental", "recording", "with_capacitor"):
        ripple.pop(key, None)
    ripple["recording"] = str(capture.resolve())
    if load_current is not None:
        ripple["load_current"] = load_current
    if limit is not None:
        ripple["bandwidth"] = limit
        if limit > 1.05 * BANDWIDTH:
            converter.pop("spike", None)


def design_as_written(path: str | Path) -> Design:
    """The same with the nominal values that the file has, also where its readings do not agree at them. Raises: InputError as `load_design`.

    >>> from filterlib.parts.tables import data_folder
    >>> file = data_folder() / "designs" / "tide-gauge-clean.toml"
    >>> design_as_written(file) == load_design(file)  # its readings agree
    True
    """
    return _read(path, lambda raw: None)


def _load(path: str | Path, more: Callable[[Toml], None]) -> Design:
    return agreeing(_read(path, more), str(path))


def _read(path: str | Path, more: Callable[[Toml], None]) -> Design:
    taken: Taken = {}

    def prepare(raw: Toml, path: Path) -> list[Problem]:
        more(raw)
        if not _names_recording(raw):
            return []
        from filterlib.bench.terminals import read_recordings  # only for a design that names a recording

        return read_recordings(raw, path, taken)

    design = files.read_design(path, prepare=prepare)
    if not taken:
        return design
    from filterlib.bench.terminals import identified

    return identified(design, taken, str(path))


def _names_recording(raw: Toml) -> bool:
    converter = raw.get("converter")
    held = [converter.get(name) for name in ("ripple", "burst")] if isinstance(converter, dict) else []
    return any(isinstance(one, dict) and "recording" in one for one in held)
