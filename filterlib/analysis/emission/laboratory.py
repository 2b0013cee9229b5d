"""By how much a laboratory may read another level.

Source, from memory: CISPR 16-4-2, the uncertainties of conducted disturbance that a laboratory should not exceed, at V-networks,
at asymmetric networks and with a current probe.
"""

from __future__ import annotations

from filterlib.analysis.emission.emission_result import LINES

_LOW, _LINE, _COMMON, _PROBE = (
    3.8,
    3.4,
    5.0,
    2.9,
)  # [dB] at a line below 150 kHz, at a line, of the common mode, of its current
_BAND_B = 150e3  # [Hz]


def laboratory_uncertainty(place: str, frequency: float) -> float:
    """What a laboratory's reading may be off [dB], with a coverage of 95 %.

    >>> laboratory_uncertainty("plus", 1e6), laboratory_uncertainty("common", 1e6)
    (3.4, 5.0)
    """
    if place in LINES:
        return _LOW if frequency < _BAND_B else _LINE
    return _PROBE if place == "common_current" else _COMMON
