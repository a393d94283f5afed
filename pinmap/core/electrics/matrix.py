"""The conductance matrix of a network: its pattern once, its factors for each set of conductances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.components import Floats, Ints

if TYPE_CHECKING:  # scipy loads for long and the app can start without; so it is imported where it is used
    from scipy.sparse.linalg import SuperLU

_NOWHERE = np.zeros(0, dtype=np.int64)
_NONE = (_NOWHERE, _NOWHERE, _NOWHERE)


@dataclass(frozen=True)
class Factors:
    """Factors of a matrix whose rows and columns are these nodes."""

    lu: SuperLU
    rows: Ints

    def solve(self, by_node: Floats) -> Floats:
        """Volts by node from amperes into each node, one set or a column each; 0 where the voltage is given."""
        out = np.zeros_like(by_node)
        if self.rows.size:
            out[self.rows] = self.lu.solve(by_node[self.rows])
        return out


@dataclass(frozen=True)
class Entries:
    """``rows`` are the matrix's nodes in order; the n-th contribution is ``sign`` times the conductance of branch or
    reference ``which``, to the entry ``slot``. ``ordered``: eliminated in this order it stays sparse."""

    rows: Ints
    which: Ints
    sign: Floats
    slot: Ints
    indices: NDArray[np.int32]
    indptr: NDArray[np.int32]
    ordered: bool

    @staticmethod
    def of(
        p: Ints, q: Ints, rows: Ints, count: int, references: tuple[Ints, Ints, Ints] = _NONE, *, ordered: bool = False
    ) -> Entries:
        """The entries of branches between nodes p and q, and of references (supply, ground, out)."""
        m = max(rows.size, 1)
        place = np.full(count, -1, dtype=np.int64)
        place[rows] = np.arange(rows.size)
        p, q = place[p], place[q]
        s, g, o = (place[x] for x in references)
        branch, refs = np.arange(p.size), p.size + np.arange(s.size)
        row = np.concatenate([p, q, p, q, s, s, o, o])
        column = np.concatenate([p, q, q, p, g, o, g, o])
        which = np.concatenate([branch] * 4 + [refs] * 4)
        sign = np.repeat(
            np.array([1.0, 1.0, -1.0, -1.0, 1.0, -1.0, -1.0, 1.0]), [p.size] * 4 + [s.size] * 4
        )  # fmt: skip
        inside = (row >= 0) & (column >= 0)
        unique, slot = np.unique((column * m + row)[inside], return_inverse=True)
        heads = np.searchsorted(unique, m * np.arange(rows.size + 1))
        return Entries(
            rows=rows, which=which[inside], sign=sign[inside], slot=slot, indices=(unique % m).astype(np.int32),
            indptr=heads.astype(np.int32), ordered=ordered,
        )  # fmt: skip

    def factorise(self, g: Floats) -> Factors:
        """Factors with these conductances [S] of the branches, then of the references."""
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        data = np.bincount(self.slot, self.sign * g[self.which], minlength=self.indices.size)
        matrix = csc_array((data, self.indices, self.indptr), shape=(self.rows.size, self.rows.size))
        # Columns of a loom's matrix have three or four entries; wider panels would only cost.
        lu = splu(
            matrix, permc_spec="NATURAL" if self.ordered else "MMD_AT_PLUS_A", panel_size=4, diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )  # fmt: skip
        return Factors(lu, self.rows)
