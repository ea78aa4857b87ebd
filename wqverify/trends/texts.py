"""A column as found: each different text once, and a number per row that says which."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Integers: TypeAlias = npt.NDArray[np.int64]
Floats: TypeAlias = npt.NDArray[np.float64]
Truths: TypeAlias = npt.NDArray[np.bool_]
Codes: TypeAlias = npt.NDArray[np.int32]


@dataclass(frozen=True, eq=False, slots=True)
class Texts:
    """The texts of a column; row i holds ``distinct[codes[i]]``.

    Exports repeat themselves: what is parsed, compared or said is parsed, compared and said once per
    different text, and a year of minutes stays small.
    """

    distinct: tuple[str, ...]
    codes: Codes

    @classmethod
    def of(cls, rows: Iterable[str]) -> Texts:
        """Return the column of these rows.

        >>> Texts.of(["a", "b", "a"]).distinct
        ('a', 'b')
        """
        rows = rows if isinstance(rows, list | tuple) else list(rows)
        distinct = dict.fromkeys(rows)
        place = dict(zip(distinct, range(len(distinct)), strict=True))
        return cls(tuple(distinct), np.fromiter(map(place.__getitem__, rows), np.int32, len(rows)))

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, row: int) -> str:
        return self.distinct[int(self.codes[row])]

    def take(self, rows: Any) -> Texts:
        """Return the column of some rows, given by their numbers or by a truth for each."""
        return Texts(self.distinct, self.codes[rows])

    def counts(self) -> Integers:
        """Return how often each different text stands in the column."""
        return np.bincount(self.codes, minlength=len(self.distinct))

    def where(self, text: str) -> Truths:
        """Return for each row whether it holds this text."""
        if text not in self.distinct:
            return np.zeros(len(self.codes), bool)
        found: Truths = self.codes == self.distinct.index(text)
        return found

    def shown(self) -> Texts:
        """Return the column with only the texts that stand in it, in the order of their first row."""
        used, first, inverse = np.unique(self.codes, return_index=True, return_inverse=True)
        order = np.argsort(first)
        rank = np.empty(len(order), np.int32)
        rank[order] = np.arange(len(order), dtype=np.int32)
        return Texts(tuple(self.distinct[used[k]] for k in order), rank[inverse])
