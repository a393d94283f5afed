"""How long a search may go on, and what it tells of itself on the way."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

_TELL_EVERY_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where a search stands: round of sizing and routing; least copper of any state so far in which every limit holds
    that can, of all wires of all variants; what the sizes at hand would have on the routes at hand, before these follow
    them; once a proof has begun, what no choice on these routes can have less than [kg]; seconds since its begin."""

    rounds: int = 0
    proving: bool = False
    best_kg: float = 0.0
    trial_kg: float = 0.0
    bound_kg: float = 0.0
    seconds: float = 0.0


@dataclass
class Watch:
    """Ends a search: when ``seconds`` are over, when ``tell`` answers that nobody waits for more, or when the work of
    the present stage is done. Work is counted in wires judged, so that on any machine that is fast enough to do it in
    time the same is found."""

    seconds: float
    tell: Callable[[Progress], bool] | None = None
    begun: float = field(default_factory=time.monotonic)
    progress: Progress = field(default_factory=Progress)
    stopped: bool = False
    loom_kg: float = 0.0  # copper of the state whose sizes are looked for
    work: float = 0.0
    most_work: float = float("inf")
    _told: float = 0.0

    def stage(self, work: float) -> None:
        """Begins a stage that may do so much work more."""
        self.most_work = self.work + work

    def spend(self, work: float) -> None:
        self.work += work

    def over(self) -> bool:
        """Whether to end with what there is; asks those who watch now and then."""
        now = time.monotonic()
        if not self.stopped and self.tell is not None and now - self._told >= _TELL_EVERY_S:
            self._told = now
            self.progress = replace(self.progress, seconds=now - self.begun)
            self.stopped = not self.tell(self.progress)
        return self.ended(now) or self.work >= self.most_work

    def ended(self, now: float | None = None) -> bool:
        """Whether the whole search is over, by time or because it was stopped."""
        return self.stopped or (time.monotonic() if now is None else now) - self.begun >= self.seconds
