"""What the first design file is asked of: each question with its option, an example and the way in which an answer is read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeAlias

from filterlib.errors import FilterlibError, InputError, Problem, QuantityError, did_you_mean
from filterlib.show.first_file.spoken_parts import load_of, part_of, parts_of
from filterlib.system.inside.arrangement import Bandwidth
from filterlib.units import format_quantity, quantity, without_form

TOPOLOGIES = {
    "step-up": ("pulse", False),
    "step-down": ("triangle", False),
    "flyback": ("pulse", True),
    "forward": ("triangle", True),
}
"""Kind of converter: shape of the current into its output capacitor, and whether it is isolated."""
_ALIKE = {"boost": "step-up", "buck": "step-down"}


Answers: TypeAlias = dict[str, Any]
"""By question: numbers, texts, parts; None where nothing was said."""


@dataclass(frozen=True)
class Question:
    """One question: ``name`` of the option and of the answer, the ``words`` that ask, an ``example``, and how it is read."""

    name: str
    words: str
    example: str
    read: Callable[[str], Any]
    needed: bool = False

    @property
    def option(self) -> str:
        """As it is written on the command line."""
        return f"--{self.name.replace('_', '-')}"


def _topology(text: str) -> str:
    found = _ALIKE.get(text.strip().lower(), text.strip().lower())
    if found not in TOPOLOGIES:
        raise QuantityError(
            f"no kind that is known here; leave it out where none fits; {did_you_mean(found, [*TOPOLOGIES, *_ALIKE])}",
            value=text,
        )
    return found


def _quantity(unit: str, low: float, high: float, form: str = "") -> Callable[[str], float]:
    return lambda text: quantity(without_form(text, form), unit, low=low, high=high)


QUESTIONS = (
    Question("kind", "Kind of converter: step-up, step-down, flyback or forward", "step-up", _topology),
    Question("input_voltage", "Its input voltage", "12 V", _quantity("V", 0.5, 1000)),
    Question("output_voltage", "Its output voltage", "19 V", _quantity("V", 0.5, 1000), needed=True),
    Question("frequency", "Its switching frequency", "150 kHz", _quantity("Hz", 5e3, 2e7), needed=True),
    Question("ripple", "Ripple at its terminals, peak to peak, on the scope", "300 mV", _quantity("V", 1e-9, 100, "pp"), needed=True),
    Question("bandwidth", "Bandwidth of the scope for that reading, or full", "20 MHz", Bandwidth.read),
    Question("current", "Output current while it was read", "3 A", _quantity("A", 0, 1000)),
    Question("spike", "Peak to peak with the spikes, in full bandwidth", "0.9 V", _quantity("V", 1e-9, 1000, "pp")),
    Question(
        "filter", "Filter, from the converter to the load, with + between the parts", "1 µF film + 2 x 1 mH 5 A + 1 µF film",
        partial(parts_of, volts=1.0, amperes=1.0),
    ),
    Question("load", "What the load draws: a power, a current or a resistance", "35 W", load_of, needed=True),
    Question(
        "load_capacitor", "Capacitor at the load's input", "470 µF electrolytic", partial(part_of, volts=1.0, amperes=1.0)
    ),
    Question("limit", "Ripple that the load allows, peak to peak", "30 mV", _quantity("V", 1e-9, 1000, "pp")),
)  # fmt: skip


def answers(said: Mapping[str, str | None]) -> Answers:
    """Answers by question, read; None where nothing was said. Raises InputError with every problem, and what is missing, at once."""
    problems, found = list[Problem](), Answers()
    for question in QUESTIONS:
        text = said.get(question.name)
        try:
            found[question.name] = question.read(text) if text else None
        except FilterlibError as error:
            why = error.why if isinstance(error, QuantityError) else str(error)
            problems.append(Problem("filterlib new", question.option, text, why))
        if not text and question.needed:
            why = f'missing: {question.words[0].lower()}{question.words[1:]}, such as {question.option} "{question.example}"'
            problems.append(Problem("filterlib new", question.option, None, why))
    problems += _against_each_other(found, str(found.get("kind")))
    if problems:
        raise InputError(problems)
    volts = found["output_voltage"]
    amperes = found["current"] or found["load"].current(volts)
    found["bandwidth_said"] = bool(said.get("bandwidth"))
    if found["filter"]:
        found["filter"] = parts_of(str(said["filter"]), volts, amperes)
    if found["load_capacitor"]:
        found["load_capacitor"] = part_of(str(said["load_capacitor"]), volts, amperes)
    return found


def _against_each_other(found: Answers, kind: str) -> Iterator[Problem]:
    """Answers that are right each by itself, and cannot be together."""
    given, made, ripple, spike = (found.get(name) for name in ("input_voltage", "output_voltage", "ripple", "spike"))
    if given and made and ((kind == "step-up" and made <= given) or (kind == "step-down" and made >= given)):
        more, other = ("more", "step-down") if kind == "step-up" else ("less", "step-up")
        why = f"a {kind} converter gives {more} than its input of {given:g} V: are the two exchanged, or is it --kind {other}?"
        yield Problem("filterlib new", "--output-voltage", f"{made:g} V", why)
    if ripple and spike and spike < 0.9 * ripple:  # two scopes may differ by some percent
        why = f"with the spikes the scope shows at least the ripple, {format_quantity(ripple, 'V')}"
        yield Problem("filterlib new", "--spike", format_quantity(spike, "V"), why)
