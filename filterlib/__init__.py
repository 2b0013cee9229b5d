"""The filter between a switch-mode DC-DC converter and the electronics that it feeds."""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from filterlib.analysis.bench.bench_sheet import BenchSheet, bench_sheet
    from filterlib.analysis.bench.clipped import clipped
    from filterlib.analysis.causes.reasons import reasons
    from filterlib.analysis.comparison.comparison_result import ComparisonResult
    from filterlib.analysis.emission.emission_result import EmissionResult, EmissionTest
    from filterlib.analysis.emission.estimate import emissions
    from filterlib.analysis.judged import Judgement
    from filterlib.analysis.judgement import judge
    from filterlib.analysis.linear.frequency_response import bode
    from filterlib.analysis.linear.insertion_loss import insertion
    from filterlib.analysis.linear.linear_result import BodeResult, ImpedanceResult, InsertionResult, StepsResult
    from filterlib.analysis.linear.modal_two_port import ModalTwoPort, modal_two_port
    from filterlib.analysis.linear.part_curves import examine
    from filterlib.analysis.linear.port_impedance import impedance
    from filterlib.analysis.linear.steps import steps
    from filterlib.analysis.review import compare, review
    from filterlib.analysis.review_result import ReasonsResult, ReviewResult
    from filterlib.analysis.ripple.nominal import NominalResult, nominal
    from filterlib.analysis.ripple.ripple import ripple
    from filterlib.analysis.ripple.ripple_result import RippleResult, Spectra
    from filterlib.analysis.ripple.spectra import spectra
    from filterlib.analysis.stability.operating_point import operating
    from filterlib.analysis.stability.stability import stability
    from filterlib.analysis.stability.stability_result import OperatingResult, Stability
    from filterlib.analysis.stress.stress import stress
    from filterlib.analysis.stress.stress_check import StressResult
    from filterlib.analysis.uncertainty.measurement_result import MeasurementValues
    from filterlib.analysis.uncertainty.measurement_value import measurement_values
    from filterlib.analysis.uncertainty.tolerance import ToleranceResult, tolerance
    from filterlib.analysis.verdict import Verdict
    from filterlib.bench.capture.recording import Recording, load_recording
    from filterlib.bench.design_file import load_design
    from filterlib.bench.fit import fit_inside
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
    from filterlib.parts.curves.measured import measured_part
    from filterlib.parts.curves.two_port import measured_two_port
    from filterlib.parts.tables import load_table, standard_tables
    from filterlib.show.figures.drawing import svg
    from filterlib.show.figures.plots import (
        bode_figure,
        impedance_figure,
        insertion_figure,
        ripple_figure,
        spectrum_figure,
        steps_figure,
    )
    from filterlib.show.review_page.report import write_review
    from filterlib.system.design import Design, with_values
    from filterlib.system.file.writing import save_design
    from filterlib.system.inside.converter import FixtureCapacitor
    from filterlib.system.ranges.changes import changed, value
    from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
    from filterlib.system.solution import Solution, solve, solve_all
    from filterlib.system.state import State
    from filterlib.units import format_quantity, quantity

_HOMES = {
    "analysis.bench.bench_sheet": (
        "BenchSheet",
        "bench_sheet",
    ),
    "analysis.bench.clipped": ("clipped",),
    "analysis.review_result": (
        "ReasonsResult",
        "ReviewResult",
    ),
    "analysis.causes.reasons": ("reasons",),
    "analysis.comparison.comparison_result": ("ComparisonResult",),
    "analysis.review": (
        "compare",
        "review",
    ),
    "analysis.emission.emission_result": (
        "EmissionResult",
        "EmissionTest",
    ),
    "analysis.emission.estimate": ("emissions",),
    "analysis.verdict": ("Verdict",),
    "analysis.judged": ("Judgement",),
    "analysis.judgement": ("judge",),
    "analysis.linear.linear_result": (
        "BodeResult",
        "InsertionResult",
        "ImpedanceResult",
        "StepsResult",
    ),
    "analysis.linear.frequency_response": ("bode",),
    "analysis.linear.insertion_loss": ("insertion",),
    "analysis.linear.modal_two_port": (
        "ModalTwoPort",
        "modal_two_port",
    ),
    "analysis.linear.part_curves": ("examine",),
    "analysis.linear.port_impedance": ("impedance",),
    "analysis.linear.steps": ("steps",),
    "analysis.ripple.nominal": (
        "NominalResult",
        "nominal",
    ),
    "analysis.ripple.ripple_result": (
        "RippleResult",
        "Spectra",
    ),
    "analysis.ripple.ripple": ("ripple",),
    "analysis.ripple.spectra": ("spectra",),
    "analysis.stability.stability_result": (
        "OperatingResult",
        "Stability",
    ),
    "analysis.stability.operating_point": ("operating",),
    "analysis.stability.stability": ("stability",),
    "analysis.stress.stress_check": ("StressResult",),
    "analysis.stress.stress": ("stress",),
    "analysis.uncertainty.measurement_result": ("MeasurementValues",),
    "analysis.uncertainty.measurement_value": ("measurement_values",),
    "analysis.uncertainty.tolerance": (
        "ToleranceResult",
        "tolerance",
    ),
    "bench.fit": ("fit_inside",),
    "bench.capture.recording": (
        "Recording",
        "load_recording",
    ),
    "bench.design_file": ("load_design",),
    "errors": (
        "CircuitError",
        "FilterlibError",
        "InputError",
        "OutputError",
        "Problem",
        "QuantityError",
        "UnstableError",
    ),
    "network.circuit": (
        "Circuit",
        "Current",
        "Element",
    ),
    "network.waveform": ("Waveform",),
    "parts.curves.measured": ("measured_part",),
    "parts.tables": (
        "load_table",
        "standard_tables",
    ),
    "parts.curves.two_port": ("measured_two_port",),
    "show.figures.drawing": ("svg",),
    "show.figures.plots": (
        "bode_figure",
        "impedance_figure",
        "insertion_figure",
        "ripple_figure",
        "spectrum_figure",
        "steps_figure",
    ),
    "show.review_page.report": ("write_review",),
    "system.ranges.changes": (
        "changed",
        "value",
    ),
    "system.inside.converter": ("FixtureCapacitor",),
    "system.design": (
        "Design",
        "with_values",
    ),
    "system.solution": (
        "Solution",
        "solve",
        "solve_all",
    ),
    "system.state": ("State",),
    "system.ranges.uncertain_parameters": ("uncertain_parameters",),
    "system.file.writing": ("save_design",),
    "units": (
        "format_quantity",
        "quantity",
    ),
}
_HOME = {name: f"filterlib.{home}" for home, names in _HOMES.items() for name in names}
__all__ = [
    "BenchSheet",
    "BodeResult",
    "Circuit",
    "CircuitError",
    "ComparisonResult",
    "Current",
    "Design",
    "Element",
    "EmissionResult",
    "EmissionTest",
    "FilterlibError",
    "FixtureCapacitor",
    "ImpedanceResult",
    "InputError",
    "InsertionResult",
    "Judgement",
    "MeasurementValues",
    "ModalTwoPort",
    "NominalResult",
    "OperatingResult",
    "OutputError",
    "Problem",
    "QuantityError",
    "ReasonsResult",
    "Recording",
    "ReviewResult",
    "RippleResult",
    "Solution",
    "Spectra",
    "Stability",
    "State",
    "StepsResult",
    "StressResult",
    "ToleranceResult",
    "UnstableError",
    "Verdict",
    "Waveform",
    "bench_sheet",
    "bode",
    "bode_figure",
    "changed",
    "clipped",
    "compare",
    "emissions",
    "examine",
    "fit_inside",
    "format_quantity",
    "impedance",
    "impedance_figure",
    "insertion",
    "insertion_figure",
    "judge",
    "load_design",
    "load_recording",
    "load_table",
    "measured_part",
    "measured_two_port",
    "measurement_values",
    "modal_two_port",
    "nominal",
    "operating",
    "quantity",
    "reasons",
    "review",
    "ripple",
    "ripple_figure",
    "save_design",
    "solve",
    "solve_all",
    "spectra",
    "spectrum_figure",
    "stability",
    "standard_tables",
    "steps",
    "steps_figure",
    "stress",
    "svg",
    "tolerance",
    "uncertain_parameters",
    "value",
    "with_values",
    "write_review",
]
__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """A public name, loaded when it is first asked for: who wants a unit read does not wait for half of scipy."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
