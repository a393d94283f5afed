"""A small memory of what was computed last; safe between threads, never the only place where something is kept."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

V = TypeVar("V")


class Memory(Generic[V]):
    """Keeps the values of the ``size`` keys that were asked for last."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._values: OrderedDict[Hashable, V] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], V], *, keep: bool = True) -> V:
        """The value of a key, made when it is not remembered; ``keep`` says whether to remember it then. Two threads
        may make the same value at once; both are good, since what is kept here depends on its key alone."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
                return self._values[key]
        value = make()
        if keep:
            self.put(key, value)
        return value

    def put(self, key: Hashable, value: V) -> None:
        """Remembers a value."""
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > self._size:
                self._values.popitem(last=False)

    def __len__(self) -> int:
        return len(self._values)
