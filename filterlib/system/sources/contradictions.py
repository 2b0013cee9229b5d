"""Why no mixture of ripple and spike reads what was stated of a converter, in words."""

from __future__ import annotations

from filterlib.system.inside.converter import Converter
from filterlib.units import format_quantity

MANY = 10  # times what is stated, from which on no percentage is said


def contradiction(converter: Converter, ripple_needed: float, spike_needed: float) -> tuple[str, str]:
    """Key of the stated value that is in the way, and why it is.

    ``ripple_needed``, ``spike_needed``: the least that each could read beside the other's stated figure [V].
    """
    wanted = float(converter.ripple.peak_to_peak)
    spike = None if converter.spike is None else float(converter.spike.peak_to_peak)
    if spike is not None and spike_needed > spike:
        if converter.ripple.recording is not None:
            why = f"the recorded ripple alone already reads {_volts(spike_needed)} in that band"
        else:
            why = (
                f"the ripple alone already reads {_volts(spike_needed)} in that band when it reads {_volts(wanted)} in the "
                "ripple's"
            )
        return _said("converter.spike.peak_to_peak", spike, spike_needed, why)
    if spike is None:
        why = f"common-mode current alone already reads {_volts(ripple_needed)} in that band"
    else:
        why = f"a spike of {_volts(spike)} alone still reads {_volts(ripple_needed)} through the ripple's bandwidth"
    return _said("converter.ripple.peak_to_peak", wanted, ripple_needed, why)


def _said(key: str, stated: float, needed: float, why: str) -> tuple[str, str]:
    more = (
        f"{100 * (needed / stated - 1):.3g} % more than"
        if needed < MANY * stated
        else f"{needed / stated:.3g} times what is"
    )
    return key, f"{key} = {_volts(stated)}: {why}, {more} stated; from there on both agree"


def _volts(value: float) -> str:
    return format_quantity(value, "V")
