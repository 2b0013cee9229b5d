"""The table of what a scope would show beside what is there, of the bench sheet and of the bench's answer."""

from __future__ import annotations

from collections.abc import Sequence

from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.answers.scope_view import ScopeView
from filterlib.show.review_tables import Table, table
from filterlib.units import format_quantity
from filterlib.words.answer_sentences import station_words
from filterlib.words.quantities import number


def scope_table(views: Sequence[ScopeView], scope: ScopeErrors) -> Table:
    """One row a station, peak to peak; ground leads as long as the scope's may be."""
    short, long = (format_quantity(length, "m") for length in scope.lead)
    return table(
        "Ripple that is there, and what a scope would show of it",
        views,
        ("Where", lambda one: station_words(one.station)),
        ("There", lambda one: number(one.there, "V")),
        (f"Ground lead of {short}", lambda one: number(one.short, "V")),
        (f"Ground lead of {long}", lambda one: number(one.long, "V")),
        ("Earthed scope, clip on the return", lambda one: number(one.clipped, "V")),
        ("Its tip on its own clip", lambda one: number(one.own_clip, "V")),
    )
