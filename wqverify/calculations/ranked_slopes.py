"""The slopes of all pairs of points, by rank and exactly, without making all of them.

Points are whole numbers (values in steps of their resolution), so that a slope is a fraction and slopes tie
exactly. Equal points are merged and carry a weight. Two orders of the points, by q - t p at two slopes t, are
turned into each other by exchanging just the pairs whose slope lies between: a slope is ranked by counting
exchanges (inversions of a permutation), and found by closing in on it until the pairs left can be listed.
What is drawn at random on the way decides how fast, never what is found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from wqverify.errors import ChooseAnother

Ints = NDArray[np.int64]

# Up to here the quotient of two differences, correctly rounded to 53 bits, keeps the order of the fractions
# and is equal only for equal ones: a/b and c/d differ by at least 1/(|a| d) of their size.
MOST_STEPS = 2**26
_LISTED = 500_000  # pairs that may be listed: some 50 MB
_SAMPLE = 40_000
_MARGIN = 4.0  # standard deviations of a sampled rank


@dataclass(frozen=True, slots=True)
class Points:
    """Merged points in the order of p, then q, counted from their smallest, with how often each occurs."""

    p: Ints
    q: Ints
    weight: Ints

    @property
    def slopes(self) -> int:
        """Number of pairs that have a slope: those of different p."""
        _, at = np.unique(self.p, return_index=True)
        alike = np.add.reduceat(self.weight, at)
        return (int(self.weight.sum()) ** 2 - int((alike**2).sum())) // 2


def refuse_wide(values: Ints) -> None:
    """Raise ChooseAnother for values that span more steps than can be ranked exactly.

    Equation: largest minus smallest < 2^26, so that double precision keeps the order of all slopes. Source:
    IEEE 754 (53 bits, correctly rounded division).

    >>> refuse_wide(np.array([0, 2**26 - 1]))
    """
    span = int(values.max()) - int(values.min())
    if span >= MOST_STEPS:
        raise ChooseAnother(
            f"The values span {span} steps of their resolution; slopes are ranked exactly for fewer than "
            f"{MOST_STEPS}. Choose the resolution at which the instruments are recorded.",
            found=str(span),
            expected=f"fewer than {MOST_STEPS}",
            where="resolution",
        )


def merged(p: Ints, q: Ints) -> Points:
    """Return points merged and in order.

    p and q in steps, at least one. Raises ChooseAnother where they span more steps than can be ranked
    exactly. Source: plain arithmetic.

    >>> merged(np.array([3, 1, 3]), np.array([5, 5, 5])).weight.tolist()
    [1, 2]
    """
    refuse_wide(p)
    refuse_wide(q)
    width = int(q.max()) - int(q.min()) + 1
    code, weight = np.unique((p - p.min()) * width + (q - q.min()), return_counts=True)
    return Points(code // width, code % width, weight.astype(np.int64))


def slopes_at(points: Points, ranks: Sequence[int], seed: int = 0) -> list[Fraction]:
    """Return the slopes of these ranks among those of all pairs of points of different p, smallest first.

    Equation: t = (q_j - q_i)/(p_j - p_i), sorted; rank 1 is the smallest. Each pair of merged points counts
    as often as it occurs. ``seed`` changes the time it takes, not the answer. Returns exact fractions in
    steps per step. Raises ValueError for a rank outside 1 to the number of slopes. Source: selection by
    counting inversions, as common for the Theil-Sen line; own arrangement.

    >>> slopes_at(merged(np.array([0, 1, 2]), np.array([0, 1, 3])), [1, 2, 3])
    [Fraction(1, 1), Fraction(3, 2), Fraction(2, 1)]
    """
    if not ranks:
        return []
    if min(ranks) < 1 or max(ranks) > points.slopes:
        raise ValueError(f"ranks from 1 to {points.slopes} only")
    search = _Search(points, np.random.default_rng(seed))
    search.between(sorted(set(ranks)), _Bracket(None, None, 0, points.slopes))
    return [search.found[rank] for rank in ranks]


@dataclass(frozen=True, slots=True)
class _Bracket:
    """The slopes between two, both excluded; None for no bound."""

    low: Fraction | None
    high: Fraction | None
    below: int  # slopes of at most low
    before: int  # slopes of less than high


@dataclass(frozen=True, slots=True)
class _Counted:
    """A slope with how many are less than it, and how many at most it."""

    t: Fraction
    less: int
    at_most: int


class _Search:
    def __init__(self, points: Points, random: np.random.Generator) -> None:
        self.points = points
        self.random = random
        self.found: dict[int, Fraction] = {}

    def between(self, ranks: list[int], bracket: _Bracket) -> None:
        """Find ranks that lie in a bracket: list its pairs where they are few, else count at sampled ones."""
        inside = self._inside(bracket)
        if inside.total <= _LISTED:
            listed = self._sorted(*inside.pairs(np.arange(inside.total)))
            self.found |= {rank: listed.at(rank - bracket.below) for rank in ranks}
            return
        sample = self._sorted(*inside.pairs(self.random.integers(inside.total, size=_SAMPLE)))
        shares = [(rank - bracket.below) / (bracket.before - bracket.below) for rank in ranks]
        counted = [self._count(t) for t in sample.around(shares)]
        for part, narrower in self._parted(ranks, counted, bracket):
            self.between(part, narrower)

    def _parted(
        self, ranks: list[int], counted: list[_Counted], bracket: _Bracket
    ) -> Iterator[tuple[list[int], _Bracket]]:
        """Keep the ranks that a counted slope hits, and give the others with the bracket they are in."""
        parts: dict[int, list[int]] = {}
        for rank in ranks:
            place = sum(1 for one in counted if one.at_most < rank)
            if place < len(counted) and counted[place].less < rank:
                self.found[rank] = counted[place].t
            else:
                parts.setdefault(place, []).append(rank)
        for place, part in parts.items():
            low, below = bracket.low, bracket.below
            high, before = bracket.high, bracket.before
            if place:
                low, below = counted[place - 1].t, counted[place - 1].at_most
            if place < len(counted):
                high, before = counted[place].t, counted[place].less
            yield part, _Bracket(low, high, below, before)

    def _count(self, t: Fraction) -> _Counted:
        level = self._level(t)
        order = np.argsort(level, kind="stable")
        less = _weighted_inversions(_inverse(order), self.points.weight)
        firsts = np.flatnonzero(np.diff(level[order], prepend=level[order[0]] - 1))
        weight = self.points.weight[order]
        alike = np.add.reduceat(weight, firsts)
        equal = (int((alike**2).sum()) - int((weight**2).sum())) // 2
        return _Counted(t, less, less + equal)

    def _level(self, t: Fraction) -> Ints:
        # Below 2^53: differences of a slope are below 2^26, and so is every p and q.
        return self.points.q * t.denominator - self.points.p * t.numerator

    def _order(self, t: Fraction | None, *, last_first: bool) -> Ints:
        """Order of the points by q - t p; on a tie the last or the first place first. None: by p, then q."""
        n = len(self.points.p)
        if t is None:
            return np.arange(n)
        if last_first:
            return n - 1 - np.argsort(self._level(t)[::-1], kind="stable")
        return np.argsort(self._level(t), kind="stable")

    def _inside(self, bracket: _Bracket) -> _Exchanged:
        """Pairs whose order changes between the two slopes of a bracket; those of both slopes do not."""
        first = self._order(bracket.low, last_first=True)
        if bracket.high is None:  # a vertical: by -p, and pairs of equal p as they were
            after = np.lexsort((self.points.q, -self.points.p))
        else:
            after = self._order(bracket.high, last_first=False)
        return _Exchanged(_inverse(after)[first], first)

    def _sorted(self, i: Ints, j: Ints) -> _Sorted:
        dp, dq = self.points.p[j] - self.points.p[i], self.points.q[j] - self.points.q[i]
        order = np.argsort(dq / dp)
        return _Sorted(dp[order], dq[order], (self.points.weight[i] * self.points.weight[j])[order])


@dataclass(frozen=True, slots=True)
class _Sorted:
    """Slopes of listed or sampled pairs in order, with their weights."""

    dp: Ints
    dq: Ints
    weight: Ints

    def _slope(self, place: int) -> Fraction:
        return Fraction(int(self.dq[place]), int(self.dp[place]))

    def at(self, rank: int) -> Fraction:
        return self._slope(int(np.searchsorted(np.cumsum(self.weight), rank)))

    def around(self, shares: list[float]) -> list[Fraction]:
        """Return the slopes a margin below and above these shares of the sample."""
        weight = self.weight.astype(float)
        total = np.cumsum(weight)
        margin = _MARGIN * 0.5 * float(np.sqrt((weight**2).sum())) / total[-1]
        wanted = [share + side for share in shares for side in (-margin, margin)]
        places = np.searchsorted(total, np.array(wanted) * total[-1])
        kept = {int(place) for place in places if place < len(total)} or {len(total) // 2}
        return sorted({self._slope(place) for place in kept})


# ---------------------------------------------------------------- inversions of a permutation


def _inverse(order: Ints) -> Ints:
    inverse = np.empty(len(order), np.int64)
    inverse[order] = np.arange(len(order))
    return inverse


def _halved(permutation: Ints) -> Iterator[tuple[Ints, NDArray[np.bool_]]]:
    """Sort a permutation from its highest bit down, and give it in blocks before each bit, with the bit.

    Two values of one block agree in all higher bits; each inversion is met once, at the highest bit in which
    its two values differ, as a 1 before a 0.
    """
    n = len(permutation)
    values = permutation
    for bit in reversed(range(max(n - 1, 1).bit_length())):
        half = 1 << bit
        size = -(-n // (2 * half)) * 2 * half
        # Filled up with larger values at the end: they are in order, and full blocks have as many 0 as 1.
        values = np.concatenate([values[:n], np.arange(n, size)])
        block = values.reshape(-1, 2 * half)
        high = (block & half).astype(bool)
        yield block, high
        values = np.concatenate(
            [block[~high].reshape(-1, half), block[high].reshape(-1, half)], axis=1
        ).reshape(-1)


def _weighted_inversions(permutation: Ints, weight: Ints) -> int:
    """Sum of the products of weights of the pairs that stand in the wrong order; weights by place."""
    n = len(permutation)
    by_value = np.zeros(2 * n, np.int64)  # what fills blocks up weighs nothing
    by_value[permutation] = weight
    total = 0
    for block, high in _halved(permutation):
        here = by_value[block]
        before = np.cumsum(np.where(high, here, 0), axis=1)
        total += int((np.where(high, 0, here) * before).sum())
    return total


class _Exchanged:
    """The inversions of a permutation, each with a number, as pairs of the elements it permutes."""

    def __init__(self, permutation: Ints, elements: Ints) -> None:
        n = len(permutation)
        self._by_value = np.empty(n, np.int64)
        self._by_value[permutation] = elements
        lows, counts, starts, highs, done = [], [], [], [], 0
        for block, high in _halved(permutation):
            before = np.cumsum(high, axis=1)[~high]
            some = np.flatnonzero(before)
            lows.append(block[~high][some])
            counts.append(before[some])
            starts.append(some // (block.shape[1] // 2) * (block.shape[1] // 2) + done)
            highs.append(block[high])
            done += len(highs[-1])
        self._low, self._start, self._high = (np.concatenate(a) for a in (lows, starts, highs))
        self._last = np.cumsum(np.concatenate(counts))
        self.total = int(self._last[-1]) if len(self._last) else 0

    def pairs(self, numbers: Ints) -> tuple[Ints, Ints]:
        """Return the elements of the inversions of these numbers: the one that stood first, the other."""
        row = np.searchsorted(self._last, numbers, side="right")
        offset = numbers - np.where(row > 0, self._last[row - 1], 0)
        return self._by_value[self._high[self._start[row] + offset]], self._by_value[self._low[row]]
