"""Damages that change nothing that can be seen, each read and understood: function, what was there, what came, and why."""

EQUIVALENT: dict[tuple[str, str, str], str] = {}
