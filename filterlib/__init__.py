"""The filter between a switch-mode DC-DC converter and the electronics that it feeds."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from filterlib.bench.design_file import load_design
    from filterlib.bench.recording import Recording, load_recording
    from filterlib.errors import (
        CircuitError,
        FilterlibError,
        InputError,
        OutputError,
        Problem,
        QuantityError,
        UnstableError,
    )
    from filterlib.network.circuit import Circuit, Current, Element
    from filterlib.network.waveform import Waveform
    from filterlib.parts.measured import measured_part
    from filterlib.parts.tables import load_table, standard_tables
    from filterlib.parts.two_port import measured_two_port
    from filterlib.system.design import Design
    from filterlib.units import format_quantity, quantity

_HOMES = {
    "bench.design_file": ("load_design",),
    "bench.recording": ("Recording", "load_recording"),
    "errors": (
        "CircuitError", "FilterlibError", "InputError", "OutputError", "Problem", "QuantityError", "UnstableError",
    ),
    "network.circuit": ("Circuit", "Current", "Element"),
    "network.waveform": ("Waveform",),
    "parts.measured": ("measured_part",),
    "parts.tables": ("load_table", "standard_tables"),
    "parts.two_port": ("measured_two_port",),
    "system.design": ("Design",),
    "units": ("format_quantity", "quantity"),
}  # fmt: skip
_HOME = {name: f"filterlib.{home}" for home, names in _HOMES.items() for name in names}
__all__ = [
    "Circuit",
    "CircuitError",
    "Current",
    "Design",
    "Element",
    "FilterlibError",
    "InputError",
    "OutputError",
    "Problem",
    "QuantityError",
    "Recording",
    "UnstableError",
    "Waveform",
    "format_quantity",
    "load_design",
    "load_recording",
    "load_table",
    "measured_part",
    "measured_two_port",
    "quantity",
    "standard_tables",
]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """A public name, loaded when it is first asked for: who wants a unit read does not wait for half of scipy."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
