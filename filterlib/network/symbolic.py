"""A circuit handed to lcapy: its transfer function as a formula, or evaluated with as many digits as wanted.

This is the second method besides the numeric engine: lcapy stamps its own matrices and solves them by computer algebra.
"""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import CircuitError, did_you_mean
from filterlib.network.checks import check
from filterlib.network.netlist import REFERENCE, Current, Described, Element, Netlist, Output, Value

if TYPE_CHECKING:
    import mpmath
    import sympy

_LETTERS = {"resistor": "R", "capacitor": "C", "inductor": "L", "conductance": "Y", "couple": "K"}
_LETTERS |= {"voltage_source": "V", "current_source": "I"}
_COUPLING_DIGITS = 80
_ESCAPED = {"\\": r"\backslash ", "^": r"\^{}", "~": r"\~{}"}
LARGEST = 12
"""Elements of a formula, sources not counted: more take minutes, and fill pages."""


@dataclass(frozen=True, eq=False)
class Formula:
    """The transfer function of a small circuit in symbols; JupyterLab shows it as mathematics.

    Attributes
    ----------
    source, output : str
        What it is from and to, as text.
    expression : sympy.Expr
        One fraction of polynomials in ``sympy.Symbol("s")`` [1/s], with a symbol of its own name for each element.
    values : dict of str to float or array (designs, 1)
        The elements' values in the circuit, by name, in SI units.
    """

    source: str
    output: str
    expression: sympy.Expr
    values: dict[str, Value]

    def at(self, frequencies: ArrayLike) -> np.ndarray:
        """What the formula gives with the circuit's values in it.

        Parameters
        ----------
        frequencies : array (f,)
            [Hz]

        Returns
        -------
        complex array (f,) or (designs, f); not a number where numerator and denominator are 0

        Examples
        --------
        >>> from filterlib import Circuit
        >>> low_pass = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 1e3)
        >>> answer = low_pass.capacitor("C", "out", "0", 1e-6).formula("V", "out")
        >>> print(answer)
        1/(C*R*s + 1)
        >>> round(float(abs(answer.at([159.154943])[0])), 6)
        0.707107
        """
        import sympy

        s = 2j * np.pi * np.atleast_1d(np.asarray(frequencies, dtype=float))
        names = sorted(symbol.name for symbol in self.expression.free_symbols if symbol.name != "s")
        function = sympy.lambdify([sympy.Symbol(name) for name in ("s", *names)], self.expression, "numpy")
        values = [self.values[name] for name in names]
        with np.errstate(divide="ignore", invalid="ignore"):
            answer = np.asarray(function(s, *values), dtype=complex)
        return answer * np.ones(np.broadcast_shapes(s.shape, *(np.shape(value) for value in values)))

    def __str__(self) -> str:
        return str(self.expression)

    def _repr_latex_(self) -> str:
        import sympy

        names = {symbol: _latex_name(symbol.name) for symbol in self.expression.free_symbols}
        right = sympy.latex(self.expression, symbol_names=names)
        return rf"$\displaystyle \frac{{{_latex_name(self.output)}}}{{{_latex_name(self.source)}}} = {right}$"


def formula_of(netlist: Netlist, source: str, output: Output) -> Formula:
    """The transfer function of a small circuit in symbols.

    Parameters
    ----------
    source : str
        Name of the source; all others are zero.
    output : str, pair of str or Current
        As in `Circuit.transfer`.

    Raises
    ------
    CircuitError
        As `formula` does; and for more than `LARGEST` elements.
    """
    passive = [e for e in netlist.elements if not e.kind.endswith("_source")]
    if len(passive) > LARGEST:
        raise CircuitError(
            f"a formula of {len(passive)} elements would fill pages: ask for one of a circuit of at most {LARGEST}"
        )
    expression = _formula(netlist, source, output, numeric=False)
    values = {e.name: e.number for e in passive}
    return Formula(source, _text(output), expression, values)


def _text(output: Output) -> str:
    if isinstance(output, Current):
        return f"I({output.name})"
    return f"V({output})" if isinstance(output, str) else f"V({output[0]}, {output[1]})"


def _latex_name(name: str) -> str:
    """A name as LaTeX: letters and digits as a symbol with an index, all else as text."""
    if simple := re.fullmatch(r"([A-Za-z])([A-Za-z0-9]*)", name):
        return simple[1] + (rf"_{{\mathrm{{{simple[2]}}}}}" if simple[2] else "")
    escaped = re.sub(r"([\\{}$&#%_^~])", lambda match: _ESCAPED.get(match[1], "\\" + match[1]), name)
    return rf"\text{{{escaped}}}"


def formula(circuit: Described, source: str, output: Output, *, numeric: bool = False) -> sympy.Expr:
    """Transfer function from a source to an output, as one fraction of polynomials in s.

    Parameters
    ----------
    circuit : Circuit
        Of resistors, capacitors, inductors, conductances, couplings and sources. Symbols are practical up to about a
        dozen elements; with numbers ten nodes take a second.
    source : str
        Name of the source; all others are zero.
    output : str, pair of str or Current
        As in `Circuit.transfer`.
    numeric : bool
        Put the values in, each as the rational number that it is, and keep s alone.

    Returns
    -------
    sympy.Expr
        In ``sympy.Symbol("s")`` [1/s] and one symbol an element, of the element's own name.

    Raises
    ------
    CircuitError
        For an element that has no counterpart, such as an impedance given as a function; for an unknown source, node or
        element; for an array of values with ``numeric``; for what lcapy cannot solve, such as shorts in a loop.

    Notes
    -----
    Source: M. Hayes, Lcapy: symbolic linear circuit analysis with Python, PeerJ Computer Science 8 (2022), from memory.

    Examples
    --------
    >>> from filterlib import Circuit
    >>> low_pass = Circuit().voltage_source("V", "in", "0").resistor("series", "in", "out", 1e3)
    >>> low_pass = low_pass.capacitor("C out", "out", "0", 1e-6)
    >>> formula(low_pass, "V", "out")
    1/(C out*s*series + 1)
    """
    return _formula(circuit.netlist, source, output, numeric)


def _formula(netlist: Netlist, source: str, output: Output, numeric: bool) -> sympy.Expr:
    import sympy

    _check(netlist, source, output, numeric)
    names = {element.name: f"{_LETTERS[element.kind]}{i}" for i, element in enumerate(netlist.elements, 1)}
    nodes = {REFERENCE: "0"} | {n: str(i) for i, n in enumerate((n for n in netlist.nodes if n != REFERENCE), 1)}
    lines = _written(netlist, source, names, nodes, numeric)
    raw = _solved(lines, output, names, nodes)
    back = {lcapy_name: name for name, lcapy_name in names.items()}
    own = {symbol: sympy.Symbol(back.get(symbol.name, symbol.name)) for symbol in raw.free_symbols}
    return sympy.cancel(sympy.together(raw)).xreplace(own)


def evaluate(
    circuit: Described, s: Iterable[object], source: str, output: Output, *, digits: int = 50
) -> list[mpmath.mpc]:
    """Transfer function at complex frequencies, with the circuit's values taken as the exact numbers that they are.

    Parameters
    ----------
    s : sequence of numbers
        Complex frequencies [1/s]: Fraction, int, float, sympy or mpmath numbers; exact where they are.
    source, output :
        As in `formula`.
    digits : int
        Decimal digits of the result.

    Returns
    -------
    list of mpmath.mpc

    Raises
    ------
    CircuitError
        As `formula` does, and where s is a pole.

    Examples
    --------
    >>> from filterlib import Circuit
    >>> divider = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "out", 3).inductor("L", "out", "0", 1)
    >>> (gain,) = evaluate(divider, [Fraction(1, 2)], "V", "out")
    >>> str(1 / gain.real)
    '7.0'
    """
    import mpmath
    import sympy

    top, bottom = sympy.fraction(formula(circuit, source, output, numeric=True))
    variable = sympy.Symbol("s")
    polynomials = [sympy.Poly(part, variable).all_coeffs() for part in (top, bottom)]
    with mpmath.workdps(3 * digits + 20):
        numbers = [[_mp(coefficient) for coefficient in polynomial] for polynomial in polynomials]
        points = [_mp(sympy.sympify(point)) for point in s]
        values = [tuple(mpmath.polyval(polynomial, point) for polynomial in numbers) for point in points]
        if poles := [point for point, (_, below) in zip(points, values, strict=True) if below == 0]:
            raise CircuitError(f"the transfer function has a pole at s = {mpmath.nstr(poles[0], 6)}")
        ratios = [above / below for above, below in values]
    with mpmath.workdps(digits):
        return [mpmath.mpc(+ratio) for ratio in ratios]


def _check(netlist: Netlist, source: str, output: Output, numeric: bool) -> None:
    """Refuse what lcapy cannot take, each by its name."""
    for element in netlist.elements:
        if element.kind not in _LETTERS:
            hint = "; Circuit.laddered puts its ladder in its place" if element.ladder is not None else ""
            raise CircuitError(f"{element.name}: an impedance given as a function has no formula{hint}")
        if numeric and isinstance(element.value, np.ndarray):
            raise CircuitError(f"{element.name}: holds values for several designs; a formula takes one")
        if not numeric and element.name == "s":
            raise CircuitError("s: is the complex frequency in a formula; give the element another name")
    if source not in netlist.sources:
        raise CircuitError(f'unknown source "{source}": {did_you_mean(str(source), netlist.sources)}')
    if isinstance(output, Current):
        flowing = [element.name for element in netlist.branches]
        if output.name not in flowing:
            raise CircuitError(f'unknown element "{output.name}": {did_you_mean(output.name, flowing)}')
    else:
        for node in _pair(output):
            if node not in netlist.nodes:
                raise CircuitError(f'unknown node "{node}": {did_you_mean(str(node), netlist.nodes)}')
    check(netlist)


def _pair(output: str | tuple[str, str]) -> tuple[str, str]:
    return (output, REFERENCE) if isinstance(output, str) else output


def _written(netlist: Netlist, source: str, names: dict[str, str], nodes: dict[str, str], numeric: bool) -> str:
    """One line an element, with names and nodes that lcapy can take; shorts become sources of 0 V, opens go."""
    elements = {element.name: element for element in netlist.elements}
    lines = []
    for element in netlist.elements:
        name = names[element.name]
        if element.kind.endswith("_source"):
            ends = " ".join(nodes[node] for node in element.nodes)
            lines.append(f"{name} {ends} s {int(element.name == source)}")
        elif element.kind == "couple":
            inductors = [elements[node] for node in element.nodes]
            if not numeric or all(inductor.value for inductor in inductors):
                ratio = _coupling(element, inductors) if numeric else name
                lines.append(f"{name} {names[inductors[0].name]} {names[inductors[1].name]} {ratio}")
        else:
            ends = " ".join(nodes[node] for node in element.nodes)
            if not numeric:
                lines.append(f"{name} {ends} {name}")
            elif element.value:
                lines.append(f"{name} {ends} {{{Fraction(float(element.number))}}}")
            elif element.kind in ("resistor", "inductor"):
                names[element.name] = f"V{name}"
                lines.append(f"V{name} {ends} s 0")
            else:
                names[element.name] = ""
    return "\n".join(lines)


def _coupling(element: Element, inductors: Sequence[Element]) -> str:
    """The coupling as mutual inductance over sqrt(L1 L2): lcapy's own root then cancels, and all stays rational."""
    import sympy

    product = Fraction(float(inductors[0].number)) * Fraction(float(inductors[1].number))
    exact = sympy.sqrt(sympy.Rational(product.numerator, product.denominator))
    root = exact if exact.is_Rational else sympy.Rational(str(exact.evalf(_COUPLING_DIGITS)))
    return f"{{({Fraction(float(element.number))})*({root})/sqrt({product})}}"


def _solved(lines: str, output: Output, names: dict[str, str], nodes: dict[str, str]) -> sympy.Expr:
    import sympy

    with _left_alone():
        import lcapy

    circuit = lcapy.Circuit(lines)
    try:
        if isinstance(output, Current):
            name = names[output.name]
            return circuit[name].I(lcapy.s).sympy if name else sympy.S.Zero
        plus, minus = (circuit[nodes[node]].V(lcapy.s).sympy for node in _pair(output))
        return plus - minus
    except ValueError as error:
        raise CircuitError(f"lcapy finds no single solution: {' '.join(str(error).split())}") from error


@contextmanager
def _left_alone() -> Iterator[None]:
    """Keep what the import of lcapy would change or say.

    It takes over how the interpreter shows values, and its docstrings hold backslashes that Python warns of when it
    compiles them for the first time.
    """
    shown_by = sys.displayhook
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*invalid escape sequence")
            yield
    finally:
        sys.displayhook = shown_by


def _mp(number: object) -> mpmath.mpc:
    """A sympy number with the digits of the surrounding mpmath context."""
    import mpmath
    import sympy

    real, imaginary = sympy.sympify(number).as_real_imag()
    return mpmath.mpc(*(mpmath.mpmathify(sympy.N(part, mpmath.mp.dps)) for part in (real, imaginary)))
