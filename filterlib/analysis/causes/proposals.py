"""Changes judged as a design is: every requirement and rating, stability, all operating points, over the uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from filterlib.analysis.causes.candidates import Candidate, applied
from filterlib.analysis.failing import Failing
from filterlib.analysis.judged import Judgement, failings
from filterlib.analysis.judgement import judge
from filterlib.analysis.review_result import Proposal
from filterlib.analysis.ripple.drawn import Drawn
from filterlib.errors import FilterlibError
from filterlib.system.solution import Solution, solve_all

LOOKED = 5  # of the best single changes get a first look
AGAINST = 3  # changes against each kind of failing that is no ripple
OF_A_KIND = 2  # of them, at most
JOINED = 3  # that are tried together with the best one, and then with the best two
WHOLE = 2  # of those that a first look does not refute are judged in full, at most
Change = tuple[Candidate, ...]


def broken_by(judgement: Judgement, was: Judgement) -> tuple[Failing, ...]:
    """What fails in one design and not in the other, or only may fail there."""
    known = {one.what: one.sure for one in failings(was)}
    return tuple(one for one in failings(judgement) if known.get(one.what, False) < one.sure or one.what not in known)


def proposals(
    was: Judgement, changes: Sequence[Change], *, progress: Callable[[float], None] | None = None
) -> tuple[Proposal, ...]:
    """The best changes judged, those with which everything is met first, then those that help, last those that break something.

    Parameters: ``was``: the judgement of the design as it is; single ``changes`` in the order in which they are worth a try;
    ``progress``: called with the share done.
    The best few get a first look (`judge` with ``like``), then the best of them together with others. What that does not
    refute is judged in full, one after another, until everything is met over the whole range; where none comes to that, the
    best that helps.
    """
    tell = progress or (lambda share: None)
    looked = [(one, proposal) for one in _picked(was, changes) if (proposal := _look(was, one))]
    tell(0.3)
    for number in range(2):
        looked += _joined(was, looked)
        tell(0.5 + 0.1 * number)
    ordered = sorted((one for _, one in looked), key=rank)
    for number, one in enumerate([one for one in ordered if not one.open][:WHOLE]):
        ordered[ordered.index(one)] = judged = _in_full(was, one)
        tell(0.8 + 0.1 * number)
        if judged.robust:
            break
    drawn = Drawn()
    for _ in range(WHOLE):
        best = min(ordered, key=rank, default=None)
        if (
            best is not None and best.better and not best.whole
        ):  # it is advised: all that it leaves open has to be known
            judgement = _whole(was, solve_all(best.design), drawn)
            ordered[ordered.index(best)] = _judged(was, best.names, best.parts, judgement, whole=True)
    return tuple(sorted((one for one in ordered if one.whole or one.open), key=rank))


def in_full(was: Judgement, change: Change, drawn: Drawn) -> Proposal | None:
    """A change judged in full beside the design as it ``was``, ``drawn`` kept from one to the next; None where it cannot be."""
    try:
        judgement = _whole(was, solve_all(applied(was.design, change)), drawn)
    except FilterlibError:
        return None
    return _judged(was, tuple(one.name for one in change), sum(one.parts for one in change), judgement, whole=True)


def _in_full(was: Judgement, one: Proposal) -> Proposal:
    """The judgement of what a first look did not refute: a closer look, and what that does not refute either, in full."""
    solutions = solve_all(one.design)
    look = _judged(was, one.names, one.parts, judge(solutions, like=was, depth="closer look"), whole=False)
    return look if look.open else _judged(was, one.names, one.parts, judge(solutions), whole=True)


def _whole(was: Judgement, solutions: tuple[Solution, ...], drawn: Drawn) -> Judgement:
    """On from the design as it was, and by itself where nothing is open then, or was, or nothing is asked of the ripple."""
    if not was.good and any(one.of_ripple for one in was.verdicts):
        found = judge(solutions, like=was, depth="whole", drawn=drawn)
        if any(failings(found)):
            return found
    return judge(solutions)


def rank(one: Proposal) -> tuple[object, ...]:
    """What proposals are ordered by: the judgement, and where nothing fails fewer changes before more margin; then parts and names."""
    sure, count, excess = _badness(one.judgement)
    few = 0 if count else len(one.names)
    return not one.robust, bool(one.broken), sure, count, few, excess, len(one.names), one.parts, one.names


def _badness(judgement: Judgement) -> tuple[int, float, float]:
    """How many failings are sure, how many there are, and how near to its limit, or beyond it, the worst requirement is.

    A requirement that is probably met counts half.
    """
    failing = tuple(failings(judgement))
    every = [*failing, *(Failing(one.point, one) for one in judgement.verdicts)]
    count = sum(0.5 if one.verdict and one.verdict.verdict == "probably met" else 1.0 for one in failing)
    return sum(one.sure for one in failing), count, max((one.excess for one in every), default=0.0)


def _picked(was: Judgement, changes: Sequence[Change]) -> list[Change]:
    """Changes that narrow what a requirement depends on, or that are against what fails; then the first few others, by kind."""
    asked = {failing.verdict.depends_on for failing in failings(was) if failing.verdict is not None} - {""}
    narrow = [one for one in changes if one[0].narrows in asked]
    for what in dict.fromkeys(
        failing.kind for failing in sorted(failings(was), key=lambda one: (-one.sure, -one.excess))
    ):
        narrow += [one for one in changes if what in one[0].against and one not in narrow][:AGAINST]
    others = [one for one in changes if one not in narrow and not one[0].against]
    kinds = [one[0].kind for one in others]
    return [*narrow, *[one for n, one in enumerate(others) if kinds[:n].count(kinds[n]) < OF_A_KIND][:LOOKED]]


def _joined(was: Judgement, looked: Sequence[tuple[Change, Proposal]]) -> list[tuple[Change, Proposal]]:
    """The best change together with the next single ones, of other groups; none where it is good enough as it is."""
    best = sorted((pair for pair in looked if not pair[1].broken), key=lambda pair: rank(pair[1]))
    if not best or not best[0][1].open:
        return []
    first, known = best[0][0], {frozenset(names) for _, one in looked for names in [one.names]}
    groups = {one.group for one in first}
    others = [one for one, _ in best if len(one) == 1 and one[0].group not in groups]
    left = {failing.what for failing in best[0][1].open}
    seen = {one: {failing.what for failing in proposal.open} for one, proposal in best}
    others.sort(key=lambda one: len(left & seen[one]))  # those first that meet what the best one does not
    together: list[Change] = [(*first, *one) for one in others[:JOINED]]
    new = [one for one in together if frozenset(single.name for single in one) not in known]
    return [(one, proposal) for one in new if (proposal := _look(was, one))]


def _look(was: Judgement, change: Change) -> Proposal | None:
    """A first look at a change; None where it cannot be."""
    try:
        solutions = solve_all(applied(was.design, change))
        judgement = judge(solutions, like=was)
    except FilterlibError:
        return None
    return _judged(was, tuple(one.name for one in change), sum(one.parts for one in change), judgement, whole=False)


def _judged(was: Judgement, names: tuple[str, ...], parts: int, judgement: Judgement, *, whole: bool) -> Proposal:
    broken = broken_by(judgement, was)
    return Proposal(names, parts, judgement, whole, broken, not broken and _badness(judgement) < _badness(was))
