"""What an estimate of conducted emission says, covers and takes for granted, and when the detectors agree."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionResult
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.emission.receiver import ReceiverBand, by_band, heard
from filterlib.analysis.linear.two_lines import CONVENTION
from filterlib.parts.artificial_network import ArtificialNetwork
from filterlib.system.design import Design
from filterlib.system.inside.input_side import steps_up
from filterlib.system.inside.ways import Bond
from filterlib.units import format_quantity
from filterlib.words.labels import detector_words
from filterlib.words.quantities import level_unit

ESTIMATE = (
    "This is an estimate before a test, not a test: only a measurement in a test house shows whether a limit is kept."
)
SAME = 1e-6  # share by which a frequency may miss a line and be called by its name
LITTLE = 0.1  # of the network's impedance, which a bond leaves to a line that reads little: 20 dB less
NEAR_END = 0.1  # share by which a switching frequency may miss the end of a limit and still cross it in practice
_WHERE = {
    "plus": "plus line",
    "return": "return line",
    "common": "common mode",
    "common_current": "common-mode current",
}


def margin_sentence(margin: Margin) -> str:
    """How far a detector stays below a limit, where, and over the uncertainty."""
    unit = level_unit(margin.unit)
    text = (
        f"{margin.title}, {detector_words(margin.detector)}: {_side(margin.margin)} the limit at "
        f"{format_quantity(margin.frequency, 'Hz')}{_beside(margin)}, {_WHERE[margin.place]} ({margin.level:.1f} {unit} against "
        f"{margin.limit_level:.1f} {unit})"
    )
    if margin.low < margin.high:
        moved = f", mostly from the {margin.depends_on}" if margin.depends_on else ""
        known = np.isfinite(margin.probable_low)
        probably = f"; probably {_side(margin.probable_low)} to {_side(margin.probable_high)} it" if known else ""
        ends = f"at worst {_end(margin.low, margin.low_at)}, at best {_end(margin.high, margin.high_at)}, over the uncertainty{moved}"
        text += f"{probably}; {ends}"
    if 0 <= margin.low < margin.allowance:
        text += f"; that is less than the {margin.allowance:.1f} dB by which laboratories differ, so it is undecided"
    return text + ("; this limit is from memory" if margin.from_memory else "")


def _end(margin: float, at: float) -> str:
    return f"{_side(margin)} it (at {format_quantity(at, 'Hz')})"


def _beside(margin: Margin) -> str:
    """Which line the receiver hears there, where it is not tuned to one."""
    if abs(margin.line / margin.frequency - 1) < SAME:
        return ""
    return f" (from the line at {format_quantity(margin.line, 'Hz')}, which the receiver's filter there lets through)"


def _side(margin: float) -> str:
    return f"{abs(margin):.1f} dB {'below' if margin >= 0 else 'ABOVE'}"


def agreement(result: EmissionResult) -> str:
    """Where harmonics are received one by one, so that all detectors read the same; "" where there are none."""
    used = by_band(result.frequencies)
    apart, together = ([band for band in used if band.alone(result.spacing) is alone] for alone in (True, False))
    parts = []
    if apart:
        parts.append(
            f"{_bandwidths(apart)} the harmonics are further apart than twice the bandwidth, so each is received alone, and "
            "quasi-peak and average equal peak; a frequency that wanders, or pulses that are skipped, would lower both"
        )
    if together:
        parts.append(
            f"{_bandwidths(together)} several harmonics pass together: peak is the highest of their envelope, average its "
            "mean, and quasi-peak follows from the detector's charge and discharge times"
        )
    return "; ".join(parts)


def _bandwidths(bands: list[ReceiverBand]) -> str:
    words = " and ".join(f"{band.name} ({format_quantity(band.bandwidth, 'Hz')})" for band in bands)
    return f"In band{'s' * (len(bands) > 1)} {words}"


def covers(design: Design, side: str) -> Iterator[str]:
    """What the estimate holds, and what it leaves out."""
    yield f"The two networks' receivers read each line to chassis; as modes: {CONVENTION}"
    yield "The networks' supply terminals are taken to be at chassis potential at the frequencies that are measured"
    if side == "output":
        way_back = (
            "its own cable and battery, without networks" if design.converter.supply is not None else "no networks"
        )
        yield (
            "The networks replace the loads at the end of the filter, and what the loads themselves emit is left out; "
            f"at the converter's input are {way_back}"
        )
    else:
        shape = "a triangle, for its choke is in the input" if steps_up(design.converter) else "a pulse with a flat top"
        yield (
            f"At the input the converter draws {shape}, estimated from output power, duty cycle and edge time; what rings at the "
            "edges there is not known, so above 10 MHz the differential part is a lower bound"
        )
    if design.converter.common_mode is None:
        yield (
            "No common-mode drive is stated (converter.common_mode): the common mode here comes from unequal lines alone, and is "
            "a lower bound"
        )
    if design.converter.spike is None and side == "output":
        yield "No spike is stated (converter.spike): above a few megahertz the differential part is a lower bound"
    if not design.chassis:
        yield "Nothing in the design reaches a chassis: the ground plane under the test set-up is taken as one, without stray capacitance"


def emission_notes(design: Design, result: EmissionResult) -> Iterator[str]:
    """What to know of this network, these limits and this switching frequency together."""
    switching, test = design.converter.switching_frequency, result.test
    network = test.at
    if switching < network.low * (1 - 1e-9):
        yield _below(switching, network)
    if result.bursts:
        yield (
            f"{result.point}: the converter bursts, so harmonics are {format_quantity(result.spacing, 'Hz')} apart, and many pass the receiver's "
            "filter together. The receiver is tuned to the loudest between two ends of the limits; the range is as wide as that of steady switching"
        )
    for lowest in sorted({piece.frequencies[0] for one in test.judged for piece in one.limit.pieces}):
        if abs(switching / lowest - 1) < NEAR_END:
            yield (
                f"The switching frequency of {format_quantity(switching, 'Hz')} is close to where a limit begins, "
                f"{format_quantity(lowest, 'Hz')}: its tolerance decides which limit the fundamental meets, if any"
            )
    if result.worst is not None and result.extents:
        yield _laboratories(result.worst)
    for one in test.judged:
        if one.limit.network not in (None, network.name):
            yield f"{one.limit.title} applies to another network ({one.limit.network}): the margin is an indication"
        if one.limit.from_memory:
            yield f"{one.limit.title}: these limits are from memory; look them up in the standard"
        if one.limit.note:
            yield f"{one.limit.title}: {one.limit.note}"
    if design.converter.bond is not None and test.side == "input" and not design.converter.isolated:
        yield _bonded(design.converter.bond, result)


def _laboratories(worst: Margin) -> str:
    """What another laboratory may read."""
    return (
        f"To pass in any laboratory, a level has to stay {worst.allowance:.1f} dB below the limit at {format_quantity(worst.line, 'Hz')}: "
        f"{worst.laboratory:.1f} dB for the laboratory's uncertainty (CISPR 16-4-2, from memory), and {worst.network:.1f} dB because its networks "
        "may be 20 % and 11.5 degrees off their impedance (CISPR 16-1-2, from memory); added as squares"
    )


def _below(switching: float, network: ArtificialNetwork) -> str:
    """What becomes of harmonics below the network's range."""
    start = f"The network is specified from {format_quantity(network.low, 'Hz')} on: "
    if switching >= heard(network.low, network.high)[0]:
        return (
            f"{start}the switching frequency of {format_quantity(switching, 'Hz')} is below, and judged by what the receiver's "
            "filter lets through when it is tuned to where the range begins"
        )
    return f"{start}harmonics below, the switching frequency of {format_quantity(switching, 'Hz')} among them, are not judged"


def _bonded(bond: Bond, result: EmissionResult) -> str:
    """What a bond of the converter's return does to its line, at the frequency that decides."""
    at = result.worst.line if result.worst is not None else float(result.frequencies[0])
    ours, network = float(bond.impedance(at)), float(np.abs(result.test.at.impedance([at])[0]))
    reads = (
        "that line reads little there, and the bond's inductance decides"
        if ours < LITTLE * network
        else "the bond does not keep that line quiet there"
    )
    return (
        "The converter's bond joins its return to the chassis, in parallel with the return line's network: at "
        f"{format_quantity(at, 'Hz')} it is {format_quantity(ours, 'ohm')} beside {format_quantity(network, 'ohm')}, so {reads}"
    )
