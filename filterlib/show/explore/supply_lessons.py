"""What readers of the notebooks on the plug and on the bank guess, and what they try on each panel."""

from __future__ import annotations

from filterlib.show.panels import Guess, Lesson, Try

PLUG = Lesson(
    Guess(
        "24 V onto an empty 22 µF ceramic: how high does its voltage go?",
        ("24 V", "36 V", "48 V", "above 50 V"),
        covers=True,
    ),
    (
        Try(
            "a film capacitor of the same size",
            {"kind": "film"},
            "37.5 V: cable and contacts take the rest of twice 24 V. The ceramic loses capacitance as its voltage rises, and the energy in the "
            "cable lifts what is left to 54 V.",
        ),
        Try(
            "a cable of 0.3 m",
            {"length": "0.3 m"},
            "51 V, hardly less, and 127 A instead of 67 A. A short cable is no cure: the battery and the contacts have inductance too.",
        ),
        Try(
            "an electrolytic beside it",
            {"fix": "electrolytic beside"},
            "24 V: its 0.16 Ω damp the ring. But the peak current rises to 87 A, and the fuse sees three and a half times as much.",
        ),
        Try(
            "an NTC in the line",
            {"fix": "NTC in the line"},
            "24 V and 22 A. Hot it has next to no resistance, and protects nothing when somebody pulls and plugs again at once.",
        ),
        Try(
            "a clamping diode",
            {"fix": "clamping diode"},
            "43 V: it stays below the rating and does not come near 24 V. A clamp cuts off the top, and leaves the spark at 67 A.",
        ),
        Try(
            "a transistor that opens slowly",
            {"fix": "transistor that opens slowly"},
            "24 V and less than an ampere: no spark at all. It has to carry the load for ever after.",
        ),
    ),
)
BANK = Lesson(
    Guess(
        "30,000 µF at 28 V: how long do they give 1 A beside the converter?",
        ("0.2 s", "2 s", "8 s", "a minute"),
        covers=True,
    ),
    (
        Try(
            "a bank of 1.4 F",
            {"farads": "1.4 F"},
            "8.4 s: it holds, with 47 times as much. It stores 549 J, as much as 56 kg fallen from a metre, and could give 930 A into a "
            "short circuit.",
        ),
        Try(
            "a converter that gives 2.9 A",
            {"supply": "2.9 A"},
            "1.8 s for a deficit of 0.1 A. A stronger converter, and not a larger bank, carries long bursts.",
        ),
        Try(
            "a burst of 100 ms",
            {"burst": "100 ms"},
            "Held, with 79 ms to spare. A bank is for bursts of a tenth of a second.",
        ),
        Try(
            "that burst, and a modem of 6 A",
            {"burst": "100 ms", "draws": "6 A"},
            "Not held: the deficit of 4 A empties it in 44 ms.",
        ),
    ),
)
