"""Curves as paths of SVG: the points that a screen can show, and nothing more."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from filterlib.show.figures.figure import Look, Values

STRAIGHT, FLAT = 8, 0.15  # points that one line may stand for, and how far it may be from them [px]
FAR = 1e5  # [px] beyond which nothing is drawn
_SHAPES = {  # of markers of half the size r
    "o": "m-{r:g} 0a{r:g} {r:g} 0 1 0 {d:g} 0a{r:g} {r:g} 0 1 0 -{d:g} 0z",
    "s": "m-{r:g} -{r:g}h{d:g}v{d:g}h-{d:g}z",
    "D": "m0 -{r:g}l{r:g} {r:g}l-{r:g} {r:g}l-{r:g} -{r:g}z",
    "v": "m-{r:g} -{r:g}h{d:g}l-{r:g} {d:g}z",
    "|": "m0 -{r:g}v{d:g}",
}


def needed(x: Values, *ys: Values, most: float) -> NDArray[np.intp]:
    """Indices of points enough for the same picture of curves over a rising x, all in px: the first, lowest and highest of
    each of ``most`` stretches, and of those none where a straight line does."""
    count = x.size
    if count <= STRAIGHT:
        return np.arange(count)
    length = max(1, int(count / most))
    starts = np.arange(0, count, length)
    stretches = [np.pad(y, (0, len(starts) * length - count), mode="edge").reshape(-1, length) for y in ys]
    ends = [starts, *(starts + end(one, axis=1) for one in stretches for end in (np.argmin, np.argmax)), [count - 1]]
    kept = np.unique(np.minimum(np.concatenate(ends), count - 1))
    coarse = np.append(np.arange(0, kept.size - 1, STRAIGHT), kept.size - 1)
    bent = np.zeros(kept.size, bool)
    for y in ys:
        bent |= ~(np.abs(np.interp(x[kept], x[kept[coarse]], y[kept[coarse]]) - y[kept]) < FLAT)
    bends = np.repeat(np.logical_or.reduceat(bent, coarse), np.diff(coarse, append=kept.size))
    bends[coarse] = True
    return np.asarray(kept[bends])


def joined(x: Values, y: Values) -> str:
    """Lines from point to point, a gap where one is not finite."""
    whole = np.isfinite(x) & np.isfinite(y)
    points = np.column_stack((x, np.clip(y, -FAR, FAR)))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], whole, [False])).astype(np.int8))).tolist()
    runs = [points[start:end].ravel().tolist() for start, end in pairwise(edges)][::2]
    return "".join("M" + ("%.1f %.1f " * (len(run) // 2) % tuple(run)).rstrip() for run in runs)


def stroke(path: str, look: Look) -> str:
    """A path drawn in a look's colour, width and dashes."""
    dash = "" if isinstance(look.dash, str) else " ".join(f"{look.width * part:.1f}" for part in look.dash[1])
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" stroke="{look.colour}" stroke-width="{look.width:g}"{dashes}/>'


def markers(x: Values, y: Values, look: Look) -> str:
    """All markers of a curve as one path."""
    if not look.marker:
        return ""
    shape = _SHAPES[look.marker].format(r=look.size / 2, d=look.size)
    shown = np.isfinite(x) & np.isfinite(y)
    path = "".join(f"M{a:.1f} {b:.1f}{shape}" for a, b in zip(x[shown].tolist(), y[shown].tolist(), strict=True))
    fill = "none" if look.hollow else look.colour
    return f'<path d="{path}" fill="{fill}" stroke="{look.colour}" stroke-width="1.3"/>'
