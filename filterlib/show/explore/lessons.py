"""What readers of the notebooks guess, and what they try on each panel: settings, and why they do what they do."""

from __future__ import annotations

from filterlib.show.panels import Guess, Lesson, Try

PI_FILTER = Lesson(
    Guess("which one, made larger, reduces the modem's ripple most?", ("C1", "the choke's leakage", "C2")),
    (
        Try(
            "C1 ten times as large: 22 µF",
            {"filter.C1.capacitance": "22 µF"},
            "3.7 mV instead of 4.1 mV: hardly anything. C1 is not alone: 22 µF inside the converter are already in parallel with it.",
        ),
        Try(
            "the choke's leakage doubled: 22 µH",
            {"filter.L1.loop_leakage": "22 µH"},
            "2.1 mV: half. Above its corner the choke takes nearly all of the ripple, so twice the inductance leaves half of it.",
        ),
        Try(
            "C2 ten times as large: 22 µF",
            {"filter.C2.capacitance": "22 µF"},
            "0.47 mV: nine times less. Behind the choke C2 has only the modem's own electrolytic beside it, whose ESR is far higher.",
        ),
        Try(
            "the switching frequency five times as high: 900 kHz (under more)",
            {"converter.switching_frequency": "900 kHz"},
            "1.8 mV, and at 360 kHz it was 1.2 mV: faster is easier to filter, but at 900 kHz C1 resonates with the converter's leads.",
        ),
        Try(
            "the low-cost brick as the converter",
            {"converter": "Skerry brick (invented)"},
            "41 mV, with a range from a few to more than a hundred. Ten times the C2 changes nothing: this ripple goes around the filter, "
            "through the chassis, as common-mode current.",
        ),
    ),
)
