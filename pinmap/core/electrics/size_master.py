"""The mixed-integer master: the choice of sizes of least copper under linear rows (HiGHS)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinmap.core.electrics.size_choices import Knob, Row, Sizes, copper_kg


class Master:
    def __init__(self, knobs: Sequence[Knob]) -> None:
        self.knobs = knobs
        self.start = np.cumsum([0, *(len(k.sizes) for k in knobs)])
        self.kg = np.array([copper_kg(k, s) for k in knobs for s in k.sizes])

    def choose(
        self,
        first: Sequence[int],
        rows: Sequence[Row],
        *,
        last: Sequence[int] | None = None,
        gap: float = 0.0,
        heaviest: bool = False,
    ) -> tuple[Sizes, float] | None:
        """The choice of least copper (or of most) under the rows, with sizes from ``first`` to ``last`` by place, and
        what no such choice is lighter than [kg]: the choice itself or, where a ``gap`` is allowed, up to that share
        less. None where there is no choice."""
        if not self.knobs:
            return (), 0.0
        # imported where it is used: it loads for long, and the app can start without
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        n = int(self.start[-1])
        high = np.ones(n)
        for i, least in enumerate(first):
            high[self.start[i] : self.start[i] + least] = 0.0
            if last is not None:
                high[self.start[i] + last[i] + 1 : self.start[i + 1]] = 0.0
        one = LinearConstraint(
            coo_array(
                (np.ones(n), (np.repeat(np.arange(len(self.knobs)), np.diff(self.start)), np.arange(n))),
                shape=(len(self.knobs), n),
            ).tocsr(), 1, 1,
        )  # fmt: skip
        limits = [one]
        if rows:
            data, at, column, most = [], [], [], []
            for r, row in enumerate(rows):
                scale = max((abs(x) for c in row.cost.values() for x in c), default=1.0) or 1.0
                for i, each in row.cost.items():
                    for j, value in enumerate(each):
                        data.append(value / scale)
                        at.append(r)
                        column.append(int(self.start[i]) + j)
                most.append(row.most / scale)
            matrix = coo_array((data, (at, column)), shape=(len(rows), n)).tocsr()
            limits.append(LinearConstraint(matrix, -np.inf, np.array(most)))
        found = milp(
            -self.kg if heaviest else self.kg, constraints=limits, integrality=np.ones(n, dtype=np.int64),
            bounds=Bounds(0, high), options={"mip_rel_gap": gap},
        )  # fmt: skip
        if found.x is None:
            return None
        sizes = tuple(
            k.sizes[int(np.argmax(found.x[self.start[i] : self.start[i + 1]]))] for i, k in enumerate(self.knobs)
        )
        return sizes, float(found.mip_dual_bound if gap and not heaviest else found.fun)
