"""What readers of the notebooks guess, and what they try on each panel: settings, and why they do what they do."""

from __future__ import annotations

from filterlib.show.panels import Guess, Lesson, Try

ONE_CAPACITOR = Lesson(
    Guess("how many ohms has this 2.2 µF ceramic at 30 MHz?", ("2.4 mΩ", "24 mΩ", "240 mΩ", "about 1 Ω"), covers=True),
    (
        Try(
            "capacitance to 10 µF",
            {"on.capacitance": "10 µF"},
            "The left half of the curve falls to a quarter, and 30 MHz still reads 0.96 Ω: there the part is 5.1 nH of wire, and no capacitor.",
        ),
        Try(
            "mounting loop to 0.5 nH",
            {"on.loop": "0.5 nH"},
            "0.30 Ω at 30 MHz, three times less. A shorter loop of pads, vias and tracks does what more capacitance cannot.",
        ),
        Try(
            "the part class2-10u-10V-0805 at a bias of 5 V",
            {"on.part": "class2-10u-10V-0805", "on.bias": "5 V"},
            "5.0 µF of its 10 µF are left: a class 2 ceramic loses capacitance at a DC bias.",
        ),
    ),
)
TWO_CAPACITORS = Lesson(
    Guess("is the pair better than the first alone at every frequency?", ("yes", "no"), covers=True),
    (
        Try(
            "second ESR to 0.5 Ω",
            {"second.esr": "0.5 Ω"},
            "The peak near 6 MHz is gone, and 30 MHz hardly changes: resistance in the right place costs little.",
        ),
        Try(
            "second part: aluminium-47u-63V",
            {"second.part": "aluminium-47u-63V"},
            "No peak either: its own ESR damps the resonance.",
        ),
        Try(
            "track between from 3 nH to 30 nH",
            {"track": "30 nH"},
            "At 30 MHz the second one now helps by only 16 %. Far away it does nothing.",
        ),
    ),
)
CHOKE = Lesson(
    Guess(
        "which inductance does ripple meet, out through one winding and back?",
        ("2 mH", "1 mH", "10 µH", "none at all"),
        covers=True,
    ),
    (
        Try(
            "unbalanced current from 1 mA to 1 A",
            {"unbalance": "1 A"},
            "Common mode falls from 0.98 mH to 27 µH; out and back nothing changes. A second bond to the chassis does this to a choke: "
            "part of the return current then takes another way, and does not cancel in the core.",
        ),
        Try(
            "leakage of one winding to 15 µH",
            {"choke.leakage_per_winding": "15 µH"},
            "Out and back becomes 30 µH and 34 Ω at 180 kHz. A choke wound in two sections filters ripple better than a bifilar one, "
            "and data sheets seldom say so.",
        ),
        Try(
            "capacitance across a winding to 100 pF",
            {"choke.winding_capacitance": "100 pF"},
            "At 30 MHz out and back falls from 820 Ω to 100 Ω: the current passes through the capacitance.",
        ),
    ),
)
PI_FILTER = Lesson(
    Guess("which one, made larger, reduces the modem's ripple most?", ("C1", "the choke's leakage", "C2")),
    (
        Try(
            "C1 ten times as large: 22 µF",
            {"filter.C1.capacitance": "22 µF"},
            "3.5 mV instead of 4.1 mV: hardly anything. C1 is not alone: 22 µF inside the converter are already in parallel with it.",
        ),
        Try(
            "the choke's leakage doubled: 22 µH",
            {"filter.L1.loop_leakage": "22 µH"},
            "2.0 mV: half. Above its corner the choke takes nearly all of the ripple, so twice the inductance leaves half of it.",
        ),
        Try(
            "C2 ten times as large: 22 µF",
            {"filter.C2.capacitance": "22 µF"},
            "0.45 mV: nine times less. Behind the choke C2 has only the modem's own electrolytic beside it, whose ESR is far higher.",
        ),
        Try(
            "the switching frequency five times as high: 900 kHz (under more)",
            {"converter.switching_frequency": "900 kHz"},
            "0.9 mV, and at 360 kHz it was 1.2 mV: faster is easier to filter, but from there on hardly: at 900 kHz C1 resonates with the converter's leads.",
        ),
        Try(
            "the low-cost brick as the converter",
            {"converter": "Skerry brick (invented)"},
            "41 mV, with a range from a few to more than a hundred. Ten times the C2 changes nothing: this ripple goes around the filter, "
            "through the chassis, as common-mode current.",
        ),
    ),
)
REVIEW = Lesson(
    Guess(
        "at the worst operating point, with every tolerance against you: is it below 15 mV?",
        ("yes, half of that", "only just", "no"),
        covers=True,
    ),
    (
        Try(
            "the choke cm-330u-10A (under more)",
            {"filter.L1.part": "cm-330u-10A"},
            "At its worst point the review has 16.4 mV, above the limit, and a range from 2 to 30 mV: the verdict is undecided.",
        ),
        Try(
            "the choke cm-4m7-2A",
            {"filter.L1.part": "cm-4m7-2A"},
            "1.0 mV and met, but the review's table of stresses says that a choke for 2 A carries 3.7 A. Its attenuation costs heat.",
        ),
        Try(
            "C2: aluminium-47u-63V",
            {"filter.C2.part": "aluminium-47u-63V"},
            "Read range, resonances and ripple current together before you decide: in the cold its ESR rises.",
        ),
    ),
)
INSERTION = Lesson(
    Guess(
        "what does this filter do at 180 kHz between this converter and this load?",
        ("54 dB", "44 dB", "25 dB", "nothing"),
        covers=True,
    ),
    (
        Try(
            "converter's C to 1 mF",
            {"converter.output_capacitance": "1 mF"},
            "The circuit's curve falls to 24.6 dB, close to the 0.1/100-ohm curve: the better the converter's own capacitor, the less the "
            "filter's first one adds.",
        ),
        Try(
            "C1 capacitance to 100 µF",
            {"filter.C1.capacitance": "100 µF"},
            "The data sheet gains 35 dB and shows 90 dB; the circuit gains six and has 31.4 dB.",
        ),
        Try(
            "leakage to 100 µH",
            {"filter.L1.leakage": "100 µH"},
            "Both gain some 19 dB. A choke does in the circuit what its data sheet says.",
        ),
    ),
)
TWO_CONVERTERS = Lesson(
    Guess(
        "how many times smaller does the board make the brick's spikes at the modem?",
        ("eighteen times", "five times", "hardly at all"),
        covers=True,
    ),
    (
        Try(
            "node to chassis: none",
            {"cause.coupling": "none"},
            "2.5 mV are left. Nothing on the board was changed: the board was never the cause.",
        ),
        Try(
            "capacitor's loop: gone",
            {"cause.input": "gone"},
            "22 mV, and 11 mV in 20 MHz, within the limit. The chassis current flows along both conductors of the lead, but the coax is "
            "joined to the return alone: the current of the plus conductor has to cross the modem's input capacitor, and the 10 nH of its loop turn it "
            "into a voltage between the conductors. The lead does the same: without it 51 mV, and 11 mV in 20 MHz.",
        ),
        Try("loops of C1, C2: gone", {"cause.loops": "gone"}, "211 mV. The obvious change does not help."),
        Try(
            "choke's inductance to 10 mH",
            {"filter.L1.inductance": "10 mH"},
            "256 mV, more than before. At the frequencies of the edges a choke is no longer an inductance: they pass through the capacitance of its "
            "windings.",
        ),
    ),
)
ONE_PART = Lesson(
    Guess(
        "which one part more meets every limit?",
        ("larger choke", "film capacitor", "second choke", "capacitor to the chassis"),
    ),
    (
        Try(
            "larger choke, cm-2m2-5A",
            {"tried": "larger choke, cm-2m2-5A"},
            "Refused. 2.2 A of the return current would flow through the chassis, and 70 mA of unbalance saturate that core. The present choke has "
            "the same fault (2.1 A; 100 mA saturate it), because the coax carries direct current too. A change is refused only if its core saturates earlier.",
        ),
        Try(
            "pair of 470 nF to the chassis",
            {"tried": "pair of 470 nF to the chassis"},
            "The best of all for the ripple, and refused for 9.9 mA of earth leakage.",
        ),
        Try(
            "one Y 10 nF, return line, load's end",
            {"tried": "one Y 10 nF, return line, load's end"},
            "2.4 mV at the modem instead of 51 mV. Then look at the logger: 25 mV have become 157 mV, and 100 mV are allowed. One load gains, another loses.",
        ),
        Try(
            "one Y 10 nF, return line, before the choke",
            {"tried": "one Y 10 nF, return line, before the choke"},
            "7.6 mV at the modem, and 2.3 mV and 23 mV at the logger (20 MHz, full bandwidth). One part, every limit met: the current returns before it reaches the choke and the lead.",
        ),
    ),
)
_END, _BEFORE = "2 × 10 nF, load's end", "2 × 10 nF, before the choke"
COMMON_MODE = Lesson(
    Guess(
        "around 10 MHz, what flows in the coax?",
        ("nothing, it is a shield", "a few µA", "more than the differential current"),
        covers=True,
    ),
    (
        Try(
            "octave around 150 kHz",
            {"frequency": "150 kHz"},
            "619 µA are driven, and 477 µA flow through the coax: at this frequency a choke should stop them. It does not, because 2.5 A of direct "
            "current flow through it and return through the chassis: it is saturated.",
        ),
        Try(
            "there too, battery's pole: floats",
            {"frequency": "150 kHz", "battery": "floats"},
            "The direct current is gone, and the choke works again.",
        ),
        Try(
            f"Y capacitors: {_END}",
            {"y": _END},
            "Around 10 MHz the lead's 2.5 mA become 20 µA, and the modem's 1.3 mV become 9 µV.",
        ),
        Try(
            "with them, octave around 1.5 MHz",
            {"y": _END, "frequency": "1.5 MHz"},
            "4.2 mA, and 471 µA without them: they resonate with the inductance of lead and coax.",
        ),
        Try(
            f"Y capacitors: {_BEFORE}, octave around 50 MHz",
            {"y": _BEFORE, "frequency": "50 MHz"},
            "622 µA, and with the capacitors at the load's end 15 µA: the current passes the choke through the capacitance of its windings. Around 10 MHz it "
            "was 8.5 µA, better than at the load's end.",
        ),
        Try(
            "box: plastic, no chassis",
            {"chassis": "plastic, no chassis"},
            "Only differential current is left, and there is no place for a Y capacitor. (Is it really so in a plastic box? See the end.)",
        ),
    ),
)
_SMALL = "2 × 4.7 nF, before the choke"
EMISSION = Lesson(
    Guess(
        "which mode fails, and do Y capacitors before the choke help?",
        ("differential, yes", "common, yes", "common, no"),
        covers=True,
    ),
    (
        Try(
            f"Y capacitors: {_SMALL}",
            {"y": _SMALL},
            "26.0 dB above, worse by 8 dB, now at 2.4 MHz. They resonate with the 600 nH of the wire from the battery's pole to the cabinet.",
        ),
        Try("battery's pole: floats", {"bond": "floats"}, "31.1 dB above. Worse still: that wire was the return path."),
        Try(
            "both together",
            {"y": _SMALL, "bond": "floats"},
            "1.0 dB below, and undecided: laboratories differ by more. Each change alone makes it worse, and both together come below; with 2 × 10 nF it is 7.2 dB below. The chassis current has one "
            "short return path, and no direct current saturates the choke any more.",
        ),
        Try(
            "node's edges to 100 ns",
            {"edges": "100 ns"},
            "12.0 dB above. A slow edge removes levels above 1/(π t_r), 3 MHz, and none below.",
        ),
        Try(
            "line: at the input",
            {"side": "at the input"},
            "29.2 dB above. The board is not between the brick and this line.",
        ),
    ),
)
RINGING = Lesson(
    Guess(
        "with the ceramic of 4.7 µF, from which power on does it ring?",
        ("1200 W, as before", "about 300 W", "less than 84 W"),
    ),
    (
        Try(
            "beside C2: class2-4u7-50V-1210",
            {"damper.part": "class2-4u7-50V-1210"},
            "The critical power falls from 1180 W to 28 W: the board rings with 84 W. The resistance of the electrolytic had kept it stable.",
        ),
        Try(
            "the electrolytic, its ESR to 1 mΩ",
            {"damper.esr": "1 mΩ"},
            "149 W instead of 1180 W: a low ESR damps little.",
        ),
        Try(
            "its ESR to 0.5 Ω",
            {"damper.esr": "0.5 Ω"},
            "1350 W, more than at the start.",
        ),
        Try(
            "its ESR to 10 Ω",
            {"damper.esr": "10 Ω"},
            "82 W, and it rings again: too much resistance takes the capacitor away. There is one best value between.",
        ),
        Try(
            "temperature to −40 °C",
            {"temperature": "-40 °C"},
            "The ESR is nine times as large, and the critical power falls from 1180 W to 270 W. Judge a damper in the cold, too.",
        ),
    ),
)
BEFORE_AND_AFTER = Lesson(
    Guess(
        "4 mV were promised at the modem, and the scope shows 70 mV. What is wrong?",
        (
            "C2 is missing",
            "C2 has a poor joint",
            "the choke is bridged",
            "the probe divides by ten, and the scope does not know",
        ),
    ),
    (
        Try(
            "probe and scope: readings ten times too high",
            {"factor": "readings ten times too high"},
            "41 mV, not 70 mV, and the shape is wrong: the capture has far more at 540 kHz than a filter that works lets through. One figure can be "
            "explained by many faults, all harmonics by few.",
        ),
        Try(
            "C2 to 22 nF, as if it were missing",
            {"filter.C2.capacitance": "22 nF"},
            "3.1 mV, less than with C2! With the modem's lead C2 is close to a resonance; the modem's own electrolytic does its work. A missing C2 is "
            "not what was captured.",
        ),
        Try(
            "resistance in C2's joint to 1 Ω",
            {"filter.C2.esr": "1 Ω"},
            "2.7 mV. A poor joint damps that resonance, and at the ripple's frequency it hardly shows: no reading at the modem in 20 MHz would find it.",
        ),
        Try(
            "L1's leakage inductance to 30 nH, as with two wire links across the choke",
            {"filter.L1.loop_leakage": "30 nH"},
            "69.3 mV, and every harmonic agrees. It is the choke: the links of a first test had stayed across its windings. 300 nH would be explained "
            "just as well: how long the links are, this capture does not tell.",
        ),
    ),
)
DAMPING = Lesson(
    Guess(
        "with all tolerances, should the resistor be that of the textbook?",
        ("yes", "smaller", "larger"),
        covers=True,
    ),
    (
        Try(
            "resistor to 1.19 Ω",
            {"resistance": "1.19 Ω"},
            "The nominal peak rises from 1.41 to 1.50 Ω, the worst one falls from 2.12 to 1.95 Ω. Over the tolerances the larger resistor is better.",
        ),
        Try(
            "added part to 10 times the filter's",
            {"ratio": "10"},
            "The textbook's resistor becomes 0.382 Ω, the robust one 0.469 Ω, a quarter more. The least peak falls to 0.49 Ω: five times the "
            "capacitor for a third of the peak.",
        ),
        Try("tolerance to 0", {"spread": "0"}, "Both minima meet, and the textbook is right."),
    ),
)
