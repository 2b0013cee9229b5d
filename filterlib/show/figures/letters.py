"""How wide words are, so that no two lie on each other: the letters of DejaVu Sans, which are as wide as Verdana's."""

from __future__ import annotations

from unicodedata import east_asian_width, normalize

_WIDTHS = {  # [hundredths of the size], each letter at most that wide
    30: "'IJijl", 35: " ,./:;\\|·’", 40: "()-[]ft²", 45: "!r", 50: '"*_`°', 55: "?csz–“”", 60: "FLkvxy",
    65: "$0123456789EPSTYabdeghnopqu{}µ", 70: "ABCKRVXZ", 75: "NU", 80: "&DGHOQΩ", 85: "#+<=>^w~−≈×≥≤∿", 90: "M",
    95: "%", 100: "@Wm…—",
}  # fmt: skip
_OF = {letter: width / 100 for width, letters in _WIDTHS.items() for letter in letters}
_OTHER, _WIDE, _BOLD = 0.8, 1.0, 1.14


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Width of one line of words, in the unit of ``size``; a little more than it takes.

    >>> text_width("10 mV", 10)
    33.5
    """
    ems = sum(_OF.get(letter) or _other(letter) for letter in words)
    return round(ems * size * (_BOLD if bold else 1.0), 6)


def _other(letter: str) -> float:
    """As wide as without its accent; of letters that are not in the table, what most of their kind are."""
    plain = _OF.get(normalize("NFD", letter)[0])
    return plain or (_WIDE if east_asian_width(letter) in "WF" else _OTHER)


def fitted(words: str, size: float, most: float, *, bold: bool = False) -> str:
    """Words that are at most ``most`` wide, cut where they are longer, without letters that no text may hold.

    >>> fitted("a long\\x07 name", 10, 50)
    'a long…'
    """
    if not words.isprintable():
        words = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in words)
    if text_width(words, size, bold=bold) <= most:
        return words
    while words and text_width(f"{words}…", size, bold=bold) > most:
        words = words[:-1]
    return f"{words}…"
