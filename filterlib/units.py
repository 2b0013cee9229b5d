"""Numbers at the edge: "4.7 µF" becomes 4.7e-06 and goes back; decibels.

Inside the library every value is a float in SI units. Text is read here alone; what could be read in two ways is refused.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from numbers import Real

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import QuantityError

PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "μ": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}
"""Powers of ten; text is NFKC-normalised first, which makes U+00B5 (micro sign) the letter U+03BC used here."""

_PREFIXABLE = {symbol: symbol for symbol in ("F", "H", "ohm", "V", "A", "W", "Hz", "s", "m", "K", "S", "J", "T", "C")}
_PREFIXABLE |= {"Ohm": "ohm", "ohms": "ohm", "Ω": "ohm"}
_PLAIN = {"R": ("ohm", 0), "cm": ("m", -2), "°C": ("K", 0), "degC": ("K", 0), "dB": ("dB", 0), "1": ("", 0)}
_PLAIN |= {"%": ("", -2), "ppm": ("", -6), "deg": ("deg", 0), "°": ("deg", 0)}
_CHARGES = {"Ah": 0, "mAh": -3, "A h": 0}  # ampere-hours
_LETTER_AS_POINT = ("F", "H", "ohm", "V", "A", "W", "Hz", "s", "S", "J")
_ALONE = tuple("kMGµμunp")  # prefixes that stand for the unit too; not m, which is metre and milli, nor f and T
_FORM = re.compile(r"(?P<rest>.*[0-9].*?[A-Za-zΩ])[ _]?(?P<form>pp|p-p|pk-pk|rms)", re.IGNORECASE)
_ZERO_CELSIUS, _HOUR, _LONGEST = 273.15, 3600.0, 100  # [K]; [s]; characters
_SPACE = "[ \t\u00a0\u2009\u202f]*"
_NUMBER = re.compile(rf"(?P<mantissa>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))(?:[eE](?P<exponent>[+-]?[0-9]+))?{_SPACE}")
_POINT_LETTER = re.compile(rf"(?P<whole>[+-]?[0-9]*)(?P<letter>[A-Za-zµμ])(?P<part>[0-9]+){_SPACE}(?P<unit>\D*)")


def quantity(
    value: object,
    unit: str,
    *,
    low: float | None = None,
    high: float | None = None,
    above: float | None = None,
    below: float | None = None,
    name: str | None = None,
) -> float:
    """Read one number, as text with an SI prefix and a unit, or as a bare number in SI.

    Parameters
    ----------
    value : str or real number
        Such as "4.7 µF", "50 mohm", "4u7", "20 %", "25 °C", 4.7e-6; a time may be in hours, "5000 h", a charge in ampere-hours, "40 Ah". Both micro signs and both ohm signs are read;
        a letter in place of the point is read as IEC 60062 has it (from memory).
    unit : str
        The unit of the result: "F", "H", "ohm", "V", "K", "m2", "A2 s" (also written "A2s"), "H/m", "K/W", "" or "%" for a ratio, "°C" ...
    low, high : float, optional
        Smallest and largest value allowed [unit].
    above, below : float, optional
        Limits that are themselves not allowed [unit].
    name : str, optional
        The argument or key that the message names.

    Returns
    -------
    float
        The value [unit]; "%" gives a ratio, so "20 %" and 0.2 are the same.

    Raises
    ------
    QuantityError
        For a wrong unit, an unknown prefix, a comma, an underscore, NaN, infinity, a truth value, anything that is not
        one real number, or a value out of range.

    Examples
    --------
    >>> quantity("4.7 µF", "F"), quantity("3k3", "ohm"), quantity("25 °C", "K"), quantity("20 %", "")
    (4.7e-06, 3300.0, 298.15, 0.2)
    """
    try:
        number, bare = _read(value, unit)
        _check_range(number, unit, bare, (low, high, above, below))
    except QuantityError as error:
        raise QuantityError(error.why, value=value, name=name) from None
    return number


def _read(value: object, unit: str) -> tuple[float, bool]:
    """The number, and whether it came without a unit."""
    if isinstance(value, str):
        number, bare = _read_text(value.strip(), unit)
    elif isinstance(value, Real | Decimal) and not isinstance(value, bool):
        number, bare = _as_float(value), True
    else:
        shown = "nothing" if value is None else "a truth value" if isinstance(value, bool) else type(value).__name__
        raise QuantityError(f"{shown} is not a quantity: {_wanted(unit)}")
    if not math.isfinite(number):
        raise QuantityError(f"{_shown(value)} is not a finite number: {_wanted(unit)}")
    if unit == "°C" and number < -_ZERO_CELSIUS:
        raise QuantityError(f"{_shown(value)} is below absolute zero, -273.15 °C")
    return number, bare


def _as_float(value: Real | Decimal) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf
    except ValueError:
        return math.nan


def _read_text(text: str, unit: str) -> tuple[float, bool]:
    _refuse_two_readings(text, unit)
    text = text.replace("\u2212", "-")
    found = _NUMBER.match(text)
    spelled = unicodedata.normalize("NFKC", text[found.end() :]) if found else ""
    if found and not spelled:
        return _scaled(text, found["mantissa"], found["exponent"], 0), True
    wanted = _parse_unit(unit)
    if wanted is None:
        raise QuantityError(f"{_shown(unit)} is not a unit that is known here")
    if found and (spelled, unit) == ("h", "s"):
        return _scaled(text, found["mantissa"], found["exponent"], 0) * _HOUR, False
    if found and spelled in _CHARGES and unit == "C":
        return _scaled(text, found["mantissa"], found["exponent"], _CHARGES[spelled]) * _HOUR, False
    given = _parse_unit(spelled) if found else None
    if found and given and given[1] == wanted[1]:
        number = _scaled(text, found["mantissa"], found["exponent"], given[0])
        return _shifted(text, number, spelled, unit), False
    meant = _meant(spelled, unit) if given is None or spelled == "K" else None
    if found and meant is not None:
        return _scaled(text, found["mantissa"], found["exponent"], meant), False
    return _read_letter_as_point(text, unit, spelled, given is not None), False


def _meant(spelled: str, unit: str) -> int | None:
    """The power of ten of a prefix without the unit, "10k", or of a unit in letters of the wrong size, "150khz"; None where in doubt."""
    if unit not in _LETTER_AS_POINT:
        return None
    if spelled in _ALONE or (spelled, unit) == ("K", "ohm"):
        return PREFIXES[spelled.replace("K", "k")]
    doubtful = spelled in PREFIXES or spelled == "h"  # an hour
    powers = {_parse_unit(one) for one in _alike(spelled, unit) if not doubtful}
    return powers.pop()[0] if len(powers) == 1 else None  # type: ignore[index]


def _alike(spelled: str, unit: str) -> list[str]:
    """Spellings of a unit, with a prefix or none, that differ from what is there in the size of letters alone."""
    symbols = [symbol for symbol, base in _PREFIXABLE.items() if base == unit]
    spellings = [prefix + symbol for symbol in symbols for prefix in ("", *PREFIXES)]
    return [one for one in spellings if one.casefold() == spelled.casefold() and one != spelled]


def without_form(text: str, form: str) -> str:
    """The text of a quantity without what says in which way it was read: "300 mVpp" becomes "300 mV" where ``form`` is "pp".

    Raises QuantityError for another form than the one that is meant: "pp", "rms" or "" for neither.

    >>> without_form("300 mVpp", "pp"), without_form("4.7 µF", "pp")
    ('300 mV', '4.7 µF')
    """
    found = _FORM.fullmatch(text.strip())
    if not found:
        return text
    if ("rms" if found["form"].lower() == "rms" else "pp") == form:
        return found["rest"]
    wanted = {"pp": "a peak to peak", "rms": "an rms value"}.get(form, "neither a peak to peak nor an rms value")
    raise QuantityError(
        f'has "{found["form"]}", and this is {wanted}: write it as "{found["rest"]}" if it is so', value=text
    )


def _refuse_two_readings(text: str, unit: str) -> None:
    """Refuse what other programs read in different ways."""
    why = None
    if not text:
        why = "empty"
    elif len(text) > _LONGEST:
        why = f"longer than {_LONGEST} characters"
    elif "," in text:
        why = "has a comma: the decimal sign is a point, and there is no thousands separator"
    elif "_" in text:
        why = "has an underscore: write the digits without a separator"
    elif any(c.isdecimal() and not c.isascii() for c in text):
        why = "has digits other than 0 to 9"
    elif re.match(r"[+-]?0[xX]", text):
        why = "is hexadecimal: decimal digits only"
    elif re.match(r"[+-]?(nan|inf)", text, re.IGNORECASE):
        why = "is not a finite number"
    elif re.match(r"[+-]?[0-9.]+[\s'’]+[0-9](?!/)", text):
        why = "has digits in groups: write them without a separator"
    if why:
        raise QuantityError(f"{_shown(text)} {why}: {_wanted(unit)}" if text else f"the text is empty: {_wanted(unit)}")


def _scaled(text: str, mantissa: str, exponent: str | None, shift: int) -> float:
    """The decimal number times 10**shift, rounded once."""
    number = float(f"{mantissa}e{int(exponent or 0) + shift}")
    if number == 0 and re.search("[1-9]", mantissa):
        raise QuantityError(f"{_shown(text)} is too small for a floating-point number")
    return number


def _shifted(text: str, number: float, spelled: str, unit: str) -> float:
    """Between °C and K, where the scale's zero differs."""
    given, wanted = spelled in ("°C", "degC"), unit == "°C"
    if given == wanted:
        return number
    if given and number < -_ZERO_CELSIUS:
        raise QuantityError(f"{_shown(text)} is below absolute zero, -273.15 °C")
    return number + _ZERO_CELSIUS if given else number - _ZERO_CELSIUS


def _read_letter_as_point(text: str, unit: str, spelled: str, known: bool) -> float:
    """The notation "4u7", "3k3", "4R7": a letter stands where the point is (IEC 60062, from memory)."""
    found = _POINT_LETTER.fullmatch(text)
    if found and unit in _LETTER_AS_POINT:
        letter = unicodedata.normalize("NFKC", found["letter"])
        powers = PREFIXES | {"R" if unit == "ohm" else unit: 0} | ({"K": 3} if unit == "ohm" else {})
        after = unicodedata.normalize("NFKC", found["unit"])
        begun = found["whole"].strip("+-") or letter != unit  # "R47" is written, "F1" is a name
        if letter in powers and begun and (not after or _PREFIXABLE.get(after) == unit):
            return _scaled(text, f"{found['whole']}.{found['part']}", None, powers[letter])
    raise QuantityError(_why_not(text, unit, spelled, known))


def _why_not(text: str, unit: str, spelled: str, known: bool) -> str:
    """Say which of the usual slips this text is."""
    symbols = [symbol for symbol, base in _PREFIXABLE.items() if base == unit]
    if known:
        slip = f'has the unit "{spelled}", not {unit or "a ratio"}'
    elif spelled in PREFIXES:
        slip = f'has the prefix "{spelled}" without a unit'
    elif tail := next((s for s in symbols if spelled.endswith(s)), ""):
        slip = f'has the unknown prefix "{spelled.removesuffix(tail)}"'
    elif spelled:
        slip = f'has the unknown unit "{spelled}"'
    else:
        slip = "does not begin with a number"
    alike = _alike(spelled, unit) + ([f"m{unit}"] if spelled == "m" and unit in _LETTER_AS_POINT else [])
    alike += ["°C"] if unit in ("K", "°C") and spelled in ("C", "c", "°c") else []
    return f"{_shown(text)} {slip}: {_wanted(unit)}" + (f"; did you mean {' or '.join(alike)}?" if alike else "")


def _wanted(unit: str) -> str:
    if _parse_unit(unit) == (0, ()) or unit == "%":
        return "give a ratio such as 0.2, or a percentage such as 20 %"
    prefixes = ", with a prefix from f p n µ (or u) m k M G T if need be" if unit in _PREFIXABLE else ""
    return f"give a number with the unit {unit}{prefixes}, or a bare number in {unit}"


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:40]}…{text[-10:]}"


@lru_cache(maxsize=1024)
def _parse_unit(text: str) -> tuple[int, tuple[tuple[str, int], ...]] | None:
    """The power of ten and the base units with their powers, or None for what is no unit."""
    shift, powers = 0, dict[str, int]()
    for place, side in enumerate(unicodedata.normalize("NFKC", text).replace("A2s", "A2 s").split("/")):
        sign = -1 if place else 1
        for word in re.split(r"[ ·*]", side if side or place else "1"):
            term = _parse_term(word)
            if term is None:
                return None
            base, exponent, power = term
            shift += sign * exponent * power
            powers[base] = powers.get(base, 0) + sign * power
    return shift, tuple(sorted((base, power) for base, power in powers.items() if base and power))


def _parse_term(word: str) -> tuple[str, int, int] | None:
    """One factor of a unit, such as mm2: base unit, power of ten of its prefix, and power."""
    symbol, power = (word[:-1], int(word[-1])) if word[-1:] in ("2", "3") else (word, 1)
    if symbol in _PREFIXABLE:
        return _PREFIXABLE[symbol], 0, power
    if symbol in _PLAIN:
        return (*_PLAIN[symbol], power)
    if symbol and symbol[0] in PREFIXES and symbol[1:] in _PREFIXABLE:
        return _PREFIXABLE[symbol[1:]], PREFIXES[symbol[0]], power
    return None


def _check_range(number: float, unit: str, bare: bool, limits: tuple[float | None, ...]) -> None:
    low, high, above, below = limits
    tests: Iterable[tuple[float | None, bool, str]] = (
        (low, low is not None and number < low, "not be below"),
        (high, high is not None and number > high, "not be above"),
        (above, above is not None and number <= above, "be above"),
        (below, below is not None and number >= below, "be below"),
    )
    for limit, broken, rule in tests:
        if limit is not None and broken:
            hint = _forgotten(unit) if bare and number * limit > 0 else ""
            raise QuantityError(f"{_plain(number, unit)} must {rule} {_plain(limit, unit)}{hint}")


def _plain(number: float, unit: str) -> str:
    return f"{number:.6g} {'' if unit == '%' else unit}".rstrip()


def _forgotten(unit: str) -> str:
    missing = "%" if unit in ("", "%") else "°C" if unit == "K" else "a prefix" if unit in _PREFIXABLE else ""
    read_as = "as a ratio" if unit in ("", "%") else f"in {unit}"
    return f"; a bare number is read {read_as}: was {missing} forgotten?" if missing else ""


def format_quantity(value: float, unit: str, digits: int = 3) -> str:
    """Write a value with its prefix and unit, so that `quantity` reads it back.

    Parameters
    ----------
    value : float
        The value [unit].
    unit : str
        As for `quantity`; "%" shows a ratio in percent.
    digits : int
        Significant digits; zeros at the end are dropped.

    Returns
    -------
    str
        Such as "4.7 µF". Beyond the prefixes, and for a unit that takes none, a power of ten is written.

    Examples
    --------
    >>> format_quantity(4.7e-6, "F"), format_quantity(0.05, "ohm"), format_quantity(1.5e-6, "m2")
    ('4.7 µF', '50 mΩ', '1.5 mm²')
    >>> format_quantity(-0.0, "ohm")
    '0 Ω'
    """
    sign = _display_unit(unit)
    if not math.isfinite(value):
        return f"{value} {sign}".rstrip()
    rounded = Decimal(f"{value + 0.0:.{digits - 1}e}")  # no "-0"
    first = unit.split("/")[0]
    power = 2 if first == "m2" else 1
    steps = {0: "", -3: "m"} if power == 2 else _display_prefixes(first)
    fitting = [step for step in steps if rounded.adjusted() >= step]
    step = max(fitting, default=min(steps)) if rounded else 0
    scaled = rounded.scaleb(2 if unit == "%" else -step * power)
    plain = -5 <= scaled.adjusted() <= 14 or not rounded
    text = f"{scaled:f}" if plain else f"{scaled:e}"
    return f"{_without_zeros(text)} {steps[step]}{sign}".rstrip()


def _display_prefixes(symbol: str) -> dict[int, str]:
    if symbol not in _PREFIXABLE or symbol == "K":
        return {0: ""}
    return {0: "", -6: "µ"} | {power: prefix for prefix, power in PREFIXES.items() if power != -6}


def _display_unit(unit: str) -> str:
    return unit.replace("ohm", "Ω").replace("m2", "m²").replace("A2 s", "A²s").replace("A2s", "A²s")


def _without_zeros(text: str) -> str:
    mantissa, mark, exponent = text.partition("e")
    return (mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa) + mark + exponent


def format_temperature(kelvin: float, digits: int = 3) -> str:
    """Write an absolute temperature [K] in degrees Celsius.

    >>> format_temperature(298.15)
    '25 °C'
    """
    return format_quantity(round(kelvin - _ZERO_CELSIUS, 9), "°C", digits)


def format_hours(seconds: float, digits: int = 3) -> str:
    """Write a long time [s] in hours.

    >>> format_hours(3.6e6), format_hours(27428.6 * 3600)
    ('1000 h', '27400 h')
    """
    return format_quantity(seconds / _HOUR, "h", digits)


def decibels(ratio: ArrayLike) -> np.ndarray:
    """Level of a ratio of voltages or currents, 20 log10 |ratio| [dB]; a ratio of zero gives -inf.

    >>> float(decibels(0.1))
    -20.0
    """
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(ratio))


def from_decibels(level: ArrayLike) -> np.ndarray:
    """Ratio of voltages or currents of a level [dB].

    >>> float(from_decibels(-20))
    0.1
    """
    return 10 ** (np.asarray(level, dtype=float) / 20)
