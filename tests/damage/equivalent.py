"""Damages that change nothing that can be seen, each read and understood: function, what was there, what came, and why."""

EQUIVALENT: dict[tuple[str, str, str], str] = {
    ("_repetitions", "shortest + 1", "shortest - 1"): (
        "a single lag is left between shortest and longest: fewer than three periods, which are refused a few lines on"
    ),
    ("source_side", "np.max(feed.inductance)", "np.min(feed.inductance)"): (
        "of one design: a battery side's inductance is one number, and arrays of many do not come here"
    ),
    (
        "_together",
        "np.argmax(np.nan_to_num(alone, nan=-1.0), axis=1)",
        "np.argmin(np.nan_to_num(alone, nan=-1.0), axis=1)",
    ): ("the two rows change places, and of both the lowest and the highest are sought"),
    ("delays", "np.fft.rfft(rows) * np.conj(clear)", "2 * (np.fft.rfft(rows) * np.conj(clear))"): (
        "where a correlation is highest does not depend on its size"
    ),
    ("like_one", "np.fft.rfft(row) / self.size", "2 * (np.fft.rfft(row) / self.size)"): (
        "what a period is correlated with may have any size, as above"
    ),
}
