"""Plain words for the short names that results use: sources, places, bandwidths, detectors, elements, verdicts."""

from __future__ import annotations

import re

from filterlib.analysis.causes.causes_result import Resonance

SYMBOLS = {"met": "✓", "probably met": "◕", "undecided": "◐", "not met": "✗"}
_SOURCES = {"ripple": "ripple", "spike": "spikes at the edges", "common_mode": "common mode"}
_PHRASES = {
    "ripple_c": "the converter's ripple current through its output capacitance",
    "ripple_esr": "the converter's ripple current through its capacitor's ESR",
    "ripple_esl": "the converter's ripple current through its capacitor's ESL",
    "spike": "the spikes at the switching edges",
    "common_mode": "the common-mode drive, by conversion",
}
_AT_OUTPUT = {
    "ripple": "the ripple at the output",
    "spike": "the spikes at the output",
    "common_mode": "the common-mode drive",
    "input_current": "the current that the converter draws",
}
_DETECTORS = {"peak": "peak", "quasi_peak": "quasi-peak", "average": "average"}
_PLACES = {
    "terminals": "converter terminals, with filter",
    "terminals_before": "converter terminals, without filter",
    "measured": "what the clipped scope shows, with filter",
    "measured_before": "what the clipped scope shows, without filter",
    "tip_on_clip": "the scope's tip on its own clip, with filter",
    "tip_on_clip_before": "the scope's tip on its own clip, without filter",
}


def bandwidth_words(label: str) -> str:
    """A bandwidth label as words.

    >>> bandwidth_words("20MHz"), bandwidth_words("150kHz_to_30MHz"), bandwidth_words("full")
    ('20 MHz', '150 kHz to 30 MHz', 'full bandwidth')
    """
    if label == "full":
        return "full bandwidth"
    return re.sub(r"(\d)([A-Za-z])", r"\1 \2", label).replace("_", " ")


def source_words(name: str) -> str:
    """A source's name as a label.

    >>> source_words("common_mode"), source_words("logger")
    ('common mode', 'drawn by logger')
    """
    return _SOURCES.get(name, f"drawn by {name}")


def source_phrase(name: str) -> str:
    """A source in a sentence, the converter's ripple by the element that makes it.

    >>> source_phrase("spike"), source_phrase("logger")
    ('the spikes at the switching edges', 'the ripple current that logger draws')
    """
    return _PHRASES.get(name, f"the ripple current that {name} draws")


def emission_source(name: str) -> str:
    """A source of conducted emission in a sentence."""
    return _AT_OUTPUT.get(name, name)


def place_words(place: str) -> str:
    """A place's name as words.

    >>> place_words("modem"), place_words("modem_before")
    ('modem, with filter', 'modem, without filter')
    """
    name = place.removesuffix("_before")
    return _PLACES.get(place) or f"{name}, with{'out' * (name != place)} filter"


def detector_words(detector: str) -> str:
    """A detector's name as words.

    >>> detector_words("quasi_peak")
    'quasi-peak'
    """
    return _DETECTORS[detector]


def element_words(name: str) -> str:
    """An element's name in words.

    >>> element_words("C1.loop"), element_words("modem.lead"), element_words("converter.capacitor")
    ("C1's loop", "modem's lead", "converter's capacitor")
    """
    head, _, tail = name.partition(".")
    return f"{head}'s {tail.replace('_', ' ').replace('.', ' ')}" if tail else name


def resonance_words(resonance: Resonance) -> str:
    """The two elements of a resonance."""
    return f"{element_words(resonance.inductive)} with {element_words(resonance.capacitive)}"
