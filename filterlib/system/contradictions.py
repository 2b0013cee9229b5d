"""Why no mixture of ripple and spike reads what was stated of a converter, in words."""

from __future__ import annotations

from filterlib.system.converter import Converter
from filterlib.units import format_quantity


def contradiction(converter: Converter, ripple_needed: float, spike_needed: float) -> str:
    """What is in the way; ``ripple_needed``, ``spike_needed`` [V]: the least that each could be beside the other."""
    spike, wanted = converter.spike, format_quantity(converter.ripple.peak_to_peak, "V")
    if spike is not None and spike_needed > spike.peak_to_peak:
        reads, stated = (format_quantity(one, "V") for one in (spike_needed, spike.peak_to_peak))
        if converter.ripple.recording is not None:
            return (
                f"converter.spike.peak_to_peak = {stated}: the recorded ripple alone already reads {reads} in that band; "
                "state a larger spike, or none"
            )
        return (
            f"converter.spike.peak_to_peak = {stated}: the ripple alone already reads {reads} in that band when it reads "
            f"{wanted} in the ripple's; state a larger spike, or none"
        )
    reads = format_quantity(ripple_needed, "V")
    if spike is None:
        return f"converter.ripple.peak_to_peak = {wanted}: common-mode current alone already reads {reads} in that band"
    return (
        f"converter.ripple.peak_to_peak = {wanted}: a spike of {format_quantity(spike.peak_to_peak, 'V')} "
        f"alone still reads {reads} through the ripple's bandwidth; state at least that, a faster ring "
        "(converter.spike.ring_frequency), or a limit of higher order (converter.ripple.order)"
    )
