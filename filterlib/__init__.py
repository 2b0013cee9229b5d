"""The filter between a switch-mode DC-DC converter and the electronics that it feeds."""

from filterlib.bench.recording import Recording, load_recording
from filterlib.bench.terminals import load_design
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
