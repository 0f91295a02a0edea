"""The cable between host and device, and what can be wrong with it. No clock: the rig says at which tick octets go in and come out.

What is wrong with an octet depends on its place in the stream alone, and when it arrives on the tick at which it went in; so the
same octets arrive for any cutting of time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from zlib import crc32

import numpy as np
import numpy.typing as npt

__all__ = ["Line", "Scratch", "Way"]

BLOCK = 4096
ENDLESS = 1 << 62


class Scratch:
    """Chances by place: octets are changed, lost, or followed by one that nobody sent; each is a share of all octets.

    >>> Scratch(7, "cable", lost=1.0).worn(b"abc", 0), len(Scratch(7, "cable", added=1.0).worn(b"abc", 0))
    (b'', 6)
    """

    def __init__(self, seed: int, what: str, *, flipped: float = 0.0, lost: float = 0.0, added: float = 0.0) -> None:
        self._seed, self._what = seed, what
        self._edges = np.cumsum([flipped, lost, added])
        self._block = -1
        self._drawn: npt.NDArray[np.float64] = np.zeros(0)

    def worn(self, data: bytes, place: int) -> bytes:
        """What comes out of these octets, of which the first has this place in the stream."""
        chances = np.concatenate([self._chances(place + begin, len(data) - begin) for begin in self._cuts(place, len(data))])
        out = bytearray()
        last = 0
        for hit in np.flatnonzero(chances < self._edges[-1]).tolist():
            out += data[last:hit]
            octet, part = data[hit], int(np.searchsorted(self._edges, chances[hit], side="right"))
            drawn = int(chances[hit] * (1 << 40)) & 0xFF
            if part == 0:
                out.append(octet ^ (1 << drawn % 8))
            elif part == 2:
                out += bytes((octet, drawn))
            last = hit + 1
        return bytes(out + data[last:])

    def _cuts(self, place: int, count: int) -> list[int]:
        """Where the octets begin and where they reach another block of chances, counted from the first."""
        return [0, *range(BLOCK - place % BLOCK, count, BLOCK)]

    def _chances(self, place: int, count: int) -> npt.NDArray[np.float64]:
        block, offset = divmod(place, BLOCK)
        if block != self._block:
            self._block = block
            self._drawn = np.random.default_rng([self._seed, crc32(self._what.encode()), block]).random(BLOCK)
        return self._drawn[offset : offset + count]


class Way:
    """One direction of the cable. What is wrong stands in dicts by the name of the fault; while all are empty and nothing is held
    back the way is not worn, and nobody asks it anything.

    grid_ticks: octets that arrive later than they go in do so in bursts, so many ticks apart. changes: from octets and the place of
    the first of them to octets. dues: from the tick of going in to that of arrival. pieces: from the place of the next octet to how
    many are handed over at once. dead: by these nothing gets through.
    """

    def __init__(self, grid_ticks: int) -> None:
        self.changes: dict[str, Callable[[bytes, int], bytes]] = {}
        self.dues: dict[str, Callable[[int], int]] = {}
        self.pieces: dict[str, Callable[[int], int]] = {}
        self.dead: set[str] = set()
        self._grid_ticks = grid_ticks
        self._held: deque[tuple[int, bytes]] = deque()
        self._place = 0
        self._place_out = 0
        self._last_due = 0

    @property
    def worn(self) -> bool:
        """Whether octets have to go through here at all."""
        return bool(self.changes or self.dues or self.pieces or self.dead or self._held)

    @property
    def due_tick(self) -> int | None:
        """When the next octets arrive, None when there are none."""
        return self._held[0][0] if self._held else None

    def burst_tick(self, tick: int) -> int | None:
        """The first tick from this one on at which a burst ends; None where octets are not held back."""
        return -(-tick // self._grid_ticks) * self._grid_ticks if self.dues else None

    def put(self, data: bytes, tick: int) -> None:
        """Octets go in."""
        first, self._place = self._place, self._place + len(data)
        for change in self.changes.values():
            data = change(data, first)
        if data and not self.dead:
            burst = self.burst_tick(tick)
            self._hold(data, tick if burst is None else max(due(burst) for due in self.dues.values()))

    def add(self, data: bytes, tick: int) -> None:
        """Octets that nobody sent, or that went in before anything was wrong, arrive by this tick as they are."""
        if data:
            self._hold(data, tick)

    def _hold(self, data: bytes, due: int) -> None:
        self._last_due = max(self._last_due, due)  # no octet overtakes another
        self._held.append((self._last_due, data))

    def take(self, tick: int) -> bytes:
        """What has arrived by this tick, or as much of it as is handed over at once."""
        out = bytearray()
        most = min((piece(self._place_out) for piece in self.pieces.values()), default=ENDLESS)
        while self._held and self._held[0][0] <= tick and len(out) < most:
            due, data = self._held.popleft()
            left = most - len(out)
            out += data[:left]
            if len(data) > left:
                self._held.appendleft((due, data[left:]))
        self._place_out += len(out)
        return bytes(out)

    def lose(self) -> None:
        """What is on its way is lost."""
        self._held.clear()


class Line:
    """Both directions. out: where the device's octets gather. echoes: by these faults the host gets back what it sends.

    >>> line = Line(bytearray(), 32_000)
    >>> line.worn
    False
    """

    def __init__(self, out: bytearray, grid_ticks: int) -> None:
        self.to_host = Way(grid_ticks)
        self.to_device = Way(grid_ticks)
        self.echoes: set[str] = set()
        self.sealed_tick = 0
        """When seal() was called last."""
        self._out = out

    @property
    def worn(self) -> bool:
        """Whether anything is wrong, or still on its way from when it was."""
        return self.to_host.worn or self.to_device.worn or bool(self.echoes)

    def due_ticks(self, tick: int) -> list[int]:
        """When octets arrive at the device, and when the burst to the host that is gathering now is over: nothing may jump that."""
        burst = self.to_host.burst_tick(tick + 1)
        return [due for due in (self.to_device.due_tick, burst) if due is not None]

    def seal(self, tick: int) -> None:
        """What the device has said until now gets through as it is; to be called before anything goes wrong."""
        self.sealed_tick = tick
        self.to_host.add(bytes(self._out), tick)
        self._out.clear()

    def from_host(self, data: bytes, tick: int) -> bytes:
        """The host sends octets; what has arrived at the device by now."""
        if self.echoes:
            self.to_host.add(data, tick)
        self.to_device.put(data, tick)
        return self.to_device.take(tick)

    def from_device(self, tick: int) -> None:
        """What the device has said since the last time goes in."""
        if self._out:
            self.to_host.put(bytes(self._out), tick)
            self._out.clear()

    def lose(self) -> None:
        """The cable is out: what is on its way is lost."""
        self._out.clear()
        self.to_host.lose()
        self.to_device.lose()
