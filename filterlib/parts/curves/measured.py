"""Parts from what was measured of them, or digitised from a data sheet: impedance curves and scattering parameters."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import InstanceOf

from filterlib.errors import InputError, Problem, QuantityError, did_you_mean, refused
from filterlib.network.wiring import Wiring
from filterlib.parts.base import Quantity
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.curves.curve_file import read_impedance_curve
from filterlib.parts.curves.impedance_curve import ImpedanceCurve
from filterlib.parts.curves.one_port import OnePort
from filterlib.parts.curves.one_port_fit import FittedCurve, fit_one_port
from filterlib.parts.curves.touchstone import CONNECTIONS, impedance_of, read_touchstone
from filterlib.parts.values import ROOM, Stated, Value, angular
from filterlib.parts.wound import CoreResistance, Current
from filterlib.units import format_quantity, quantity

Connection = Literal["series_through", "shunt_through"]
LEAST_ANGLE = 30.0  # [degrees] of the fitted impedance, so that its curve shows a capacitance, or an inductance


def _origin(measurement: FittedCurve) -> dict[str, str]:
    """Label and text of where a part is from and how near its network is."""
    low, high = (format_quantity(end, "Hz") for end in measurement.band)
    known = "impedance" if measurement.curve.has_phase else "magnitude"
    error = f"{measurement.largest_error:.2g} dB at most, {measurement.rms_error:.2g} dB rms"
    return {
        "measured": f"{known} from {low} to {high}, in {Path(measurement.curve.file).name}",
        "error of the network": error,
        "error of its resistance": _resistance_error(measurement),
    }


def _resistance_error(measurement: FittedCurve) -> str:
    error, at = measurement.resistance_error
    if np.isnan(error):
        return "not known: the file holds no phase"
    return f"{error:.2g} dB at most, at {format_quantity(at, 'Hz')}"


def _caveat(measurement: FittedCurve, unchanged: str) -> str:
    low, high = (format_quantity(end, "Hz") for end in measurement.band)
    note = f"; {measurement.curve.note}" if measurement.curve.note else ""
    return (
        f"is as measured in {Path(measurement.curve.file).name}, {low} to {high}: a passive network within "
        f"{measurement.largest_error:.2g} dB of it ({measurement.rms_error:.2g} dB rms), continued outside that band{unchanged}; "
        f"error of its resistance, which damps and heats: {_resistance_error(measurement)}{note}"
    )


class MeasuredCapacitor(Capacitor):
    """A capacitor from its impedance curve: R, L and C in series, with as many sections of R, L and C as its shape asks for.

    Made by `measured_part`, or from the key ``file`` of a design file or table. Its capacitance, ESR and ESL are those of the network. It is
    as measured: bias and temperature change it only where ``bias_curve`` or ``temperature_curve`` are stated next to the file.

    Attributes
    ----------
    file : the file that it was read from, as written
    connection : how a two-port was measured, "series_through" or "shunt_through"
    measurement : the curve, its network and the error between them
    """

    measured: ClassVar[bool] = True
    COMPUTED: ClassVar[tuple[str, ...]] = (
        "capacitance",
        "esr",
        "esl",
        "loss_angle",
        "reference_frequency",
        "measurement",
    )

    kind: Literal["measured_capacitor"] = "measured_capacitor"  # type: ignore[assignment]
    file: str
    connection: Connection | None = None
    measurement: InstanceOf[FittedCurve]
    loss_angle: Annotated[Value, Quantity("", low=0)] = 0.0
    esr_tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.0
    esl_tolerance: Annotated[Value, Quantity("", low=0, below=1)] = 0.0

    @classmethod
    def from_curve(cls, curve: ImpedanceCurve, entry: Stated) -> dict[str, object]:
        """The fields that follow from the curve. Raises InputError where it is no capacitor's."""
        fitted = fit_one_port(curve, blocks=True)
        _refuse_angle(curve, -np.angle(fitted.one_port.impedance(fitted.band[:1]), deg=True), "falls", "capacitance")
        return cls.computed(fitted)

    @staticmethod
    def computed(fitted: FittedCurve) -> dict[str, object]:
        """The fields that follow from a network."""
        port = fitted.one_port
        return {"measurement": fitted, "capacitance": port.capacitance, "esr": port.resistance, "esl": port.inductance}

    @property
    def caveat(self) -> str:
        """What to know before this part is trusted."""
        unchanged = "" if self.bias_curve else ", and no bias changes it"
        return _caveat(self.measurement, unchanged)

    def _ratio(self, capacitance: Value) -> Value:
        return capacitance / (self.measurement.one_port.capacitance or np.inf)

    def _body(
        self, frequencies: ArrayLike, capacitance: Value, resistance: Value, count: int
    ) -> NDArray[np.complex128]:
        s = angular(frequencies)
        known = np.where(s == 0, 1.0, s)
        sections = self.measurement.one_port.behind(known, capacitive=self._ratio(capacitance))
        return np.where(s == 0, complex(np.inf, 0), (resistance + 1 / (known * capacitance) + sections) / count)

    def ladder(self, *, bias: Value = 0.0, temperature: Value = ROOM, count: int = 1) -> Wiring:
        """The same without the series inductance, as elements between nodes "a" and "b", exactly."""
        capacitance, port = self.capacitance_at(bias, temperature), self.measurement.one_port
        circuit = Wiring().capacitor("C", "a", "1", capacitance * count)
        circuit.resistor("R", "1", "2" if port.sections else "b", self.resistance_at(temperature) / count)
        return add_sections(port, circuit, "2", "b", capacitive=self._ratio(capacitance), impedance=1 / count)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        texts = super().describe()
        del texts["loss angle"]
        if self.bias_curve is None:
            texts["bias curve"] = "none, as measured"
        return texts | _origin(self.measurement)


class MeasuredChoke(DifferentialChoke):
    """A differential choke from its impedance curve: R and L in series, with sections of R, L and C.

    Made by `measured_part`, or from the key ``file`` of a design file or table. Its inductance is that of the network at low frequency; the
    resistance at direct current is stated, for a curve rarely shows it. Direct current changes it only where ``saturation_current``
    is stated next to the file. ``file``, ``connection`` and ``measurement`` as in `MeasuredCapacitor`.
    """

    measured: ClassVar[bool] = True
    COMPUTED: ClassVar[tuple[str, ...]] = (
        "inductance", "winding_capacitance", "self_resonance", "parallel_resistance", "measurement",
    )  # fmt: skip

    kind: Literal["measured_choke"] = "measured_choke"  # type: ignore[assignment]
    file: str
    connection: Connection | None = None
    measurement: InstanceOf[FittedCurve]
    saturation_current: Current | None = None  # type: ignore[assignment]
    parallel_resistance: CoreResistance | None = None

    @classmethod
    def from_curve(cls, curve: ImpedanceCurve, entry: Stated) -> dict[str, object]:
        """The fields that follow from the curve. Raises InputError where it is no choke's, QuantityError from its DC resistance."""
        stated = quantity(entry.get("dc_resistance", 0), "ohm", low=0, name="dc_resistance")
        if stated > 1.1 * curve.magnitude[0]:
            least = format_quantity(float(curve.magnitude[0]), "ohm")
            raise refused(curve.file, f"|Z| begins at {least}, below the dc_resistance that is stated", curve.place(0))
        fitted = fit_one_port(curve, blocks=False, resistance=stated)
        angle = np.angle(fitted.one_port.impedance(curve.frequencies), deg=True)
        _refuse_angle(curve, angle[: 1 + int(curve.magnitude.argmax())].max(initial=-90.0), "rises", "inductance")
        return cls.computed(fitted)

    @staticmethod
    def computed(fitted: FittedCurve) -> dict[str, object]:
        """The fields that follow from a network."""
        port = fitted.one_port
        largest = max(port.sections, key=lambda one: 0 if np.isinf(one.inductance) else one.inductance)
        values = {"inductance": port.low_frequency_inductance, "winding_capacitance": largest.capacitance}
        return {"measurement": fitted, **values}

    @property
    def caveat(self) -> str:
        """What to know before this part is trusted."""
        return _caveat(self.measurement, "" if self.saturation_current else ", and no direct current changes it")

    def inductance_at(self, current: Value = 0.0, temperature: Value = ROOM) -> Value:
        """Small-signal inductance [H] at a DC ``current`` [A] and ``temperature`` [K]."""
        if self.saturation_current is None:
            return self.inductance * self.warm_factor(temperature)
        return super().inductance_at(current, temperature)

    def _ratio(self, inductance: Value) -> Value:
        return inductance / self.measurement.one_port.low_frequency_inductance

    def _winding(self, frequencies: ArrayLike, inductance: Value, resistance: Value) -> NDArray[np.complex128]:
        s, port, ratio = angular(frequencies), self.measurement.one_port, self._ratio(inductance)
        return resistance + s * port.inductance * ratio + port.behind(s, inductive=ratio)

    def ladder(self, *, current: Value = 0.0, temperature: Value = ROOM) -> Wiring:
        """The same between nodes "a" and "b", exactly."""
        ratio = self._ratio(self.inductance_at(current, temperature))
        return series_ladder(self.measurement.one_port, self.resistance_at(temperature), inductive=ratio)

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return super().describe() | _origin(self.measurement)

    def _saturation_words(self) -> str:
        return "none, as measured" if self.saturation_current is None else super()._saturation_words()


def add_sections(
    port: OnePort,
    circuit: Wiring,
    start: str,
    end: str,
    *,
    inductive: Value = 1.0,
    impedance: Value = 1.0,
    capacitive: Value = 1.0,
) -> Wiring:
    """The sections of a one-port between two nodes of a ladder, their impedance multiplied by ``impedance``."""
    nodes = [start, *(f"s{number}" for number in range(1, len(port.sections))), end]
    for number, (one, a, b) in enumerate(zip(port.sections, nodes, nodes[1:], strict=False), start=1):
        scale = impedance if np.isfinite(one.inductance) else impedance / capacitive
        circuit.resistor(f"Rs{number}", a, b, one.resistance * scale)
        if np.isfinite(one.inductance):
            circuit.inductor(f"Ls{number}", a, b, one.inductance * inductive * scale)
        if one.capacitance:
            circuit.capacitor(f"Cs{number}", a, b, one.capacitance / scale)
    return circuit


def series_ladder(port: OnePort, resistance: Value, *, inductive: Value = 1.0) -> Wiring:
    """``resistance`` [ohm], then a one-port's inductance and sections, between nodes "a" and "b"; inductances times ``inductive``."""
    circuit = Wiring().resistor("R", "a", "1", resistance)
    circuit.inductor("L", "1", "2" if port.sections else "b", port.inductance * inductive)
    return add_sections(port, circuit, "2", "b", inductive=inductive)


MEASURED: dict[str, type[MeasuredCapacitor] | type[MeasuredChoke]] = {
    "measured_capacitor": MeasuredCapacitor,
    "measured_choke": MeasuredChoke,
}


def _refuse_angle(curve: ImpedanceCurve, angle: ArrayLike, goes: str, what: str) -> None:
    if float(np.max(angle)) < LEAST_ANGLE:
        at = format_quantity(float(curve.frequencies[0]), "Hz")
        why = f"from {at} on the curve hardly {goes}, so it does not show the {what}: begin at a lower frequency; or is it of another kind?"
        raise refused(curve.file, why, curve.place(0))


# ---- from a file ------------------------------------------------------------------------------------------------------


def measured_part(
    path: str | Path,
    *,
    kind: str,
    connection: Connection | None = None,
    rated_voltage: float | str | None = None,
    rated_current: float | str | None = None,
    dc_resistance: float | str | None = None,
) -> MeasuredCapacitor | MeasuredChoke:
    """A part from its impedance curve (CSV) or its scattering parameters (Touchstone).

    Parameters
    ----------
    path : str or Path
        See `filterlib.parts.curves.curve_file.read_impedance_curve` and `filterlib.parts.curves.touchstone.read_touchstone`.
    kind : str
        "measured_capacitor" or "measured_choke".
    connection : str, optional
        Of a two-port: "series_through" or "shunt_through".
    rated_voltage : float or str, optional
        Of a capacitor, needed [V].
    rated_current, dc_resistance : float or str, optional
        Of a choke, both needed [A], [ohm].

    Returns
    -------
    MeasuredCapacitor or MeasuredChoke
        Named like the file. What else is known of it (tolerance, bias curve, saturation current ...) comes in with ``replace``.

    Raises
    ------
    InputError
        With everything that is wrong with the file (file, line, value) and with the arguments.

    Notes
    -----
    Valid inside the band of the file, for the specimen, bias and temperature that were measured; outside the band the network is
    continued.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> folder = data_folder() / "parts" / "measured"
    >>> part = measured_part(folder / "film-470n.csv", kind="measured_capacitor", rated_voltage="63 V")
    >>> part.measurement.largest_error < 0.5
    True
    """
    entry = {
        "kind": kind, "file": str(path), "connection": connection, "rated_voltage": rated_voltage, "rated_current": rated_current,
        "dc_resistance": dc_resistance, "name": Path(path).stem[:80],
    }  # fmt: skip
    try:
        return part_from_file({key: value for key, value in entry.items() if value is not None}, Path())
    except InputError as error:
        raise InputError(_named(problem, "measured_part") for problem in error.problems) from None


def _named(problem: Problem, file: str) -> Problem:
    return problem if problem.file else Problem(file, problem.key, problem.value, problem.why)


def part_from_file(entry: Stated, folder: Path) -> MeasuredCapacitor | MeasuredChoke:
    """A part from keys and values, ``kind`` and ``file`` among them; the file is looked for in ``folder``.

    Raises
    ------
    InputError
        With problems of the file, and with problems of the keys, whose ``file`` is empty.
    """
    part_class = _class(entry.get("kind"))
    problems = [
        Problem("", key, entry[key], "this comes from the measured file; leave the key out")
        for key in part_class.COMPUTED
        if key in entry
    ]
    stated = {key: value for key, value in entry.items() if key not in part_class.COMPUTED}
    computed: dict[str, object] = {}
    try:
        computed = part_class.from_curve(curve_in_file(stated, folder), stated)
    except InputError as error:
        problems += error.problems
    except QuantityError:
        pass  # of a value in the entry, which is refused below with the others
    try:
        part = part_class(**stated, **computed)
    except InputError as error:
        problems += _of_the_entry(error, part_class.COMPUTED, entry.get("file") if computed else None)
    if problems:
        raise InputError(problems)
    return part


def _of_the_entry(error: InputError, computed: tuple[str, ...], file: object) -> Iterator[Problem]:
    """What is wrong with the keys; what follows from the curve is said of the ``file``, or not at all while there is no curve."""
    for one in error.problems:
        if one.key not in computed:
            yield Problem("", one.key, one.value, one.why)
        elif file is not None:
            yield Problem("", "file", file, f"as {one.key} follows {one.value!r}: {one.why}")


def _class(kind: object) -> type[MeasuredCapacitor] | type[MeasuredChoke]:
    if not isinstance(kind, str) or kind not in MEASURED:
        raise InputError([Problem("", "kind", kind, f"no such kind of part; {did_you_mean(str(kind), MEASURED)}")])
    return MEASURED[kind]


def curve_in_file(entry: Stated, folder: Path) -> ImpedanceCurve:
    """The impedance in the ``file`` of an entry, measured in the ``connection`` that it states. Raises InputError."""
    file, connection = entry.get("file"), entry.get("connection")
    if not isinstance(file, str) or not file.strip():
        why = "the name of a file in quotes is needed: an impedance curve (.csv), or scattering parameters (.s1p, .s2p)"
        raise InputError([Problem("", "file", file, why if file is not None else f"missing: {why}")])
    path = folder / file
    needs = path.suffix.lower() == ".s2p"
    if needs and connection not in CONNECTIONS:
        why = f"says how the two-port was measured; {did_you_mean(str(connection), CONNECTIONS)}"
        raise InputError(
            [Problem("", "connection", connection, why if connection is not None else f"missing: it {why}")]
        )
    if not needs and connection is not None:
        raise InputError([Problem("", "connection", connection, "only a two-port (.s2p) needs it; leave it out")])
    if re.fullmatch(r"\.[sgyzh]\d+p|\.ts", path.suffix.lower()):
        return impedance_of(read_touchstone(path), connection)
    return read_impedance_curve(path)
