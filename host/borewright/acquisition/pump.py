"""The one loop that reads the rig and answers it.

A pump that stops says so, whatever stopped it: there is exactly one PumpEnd for each run.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from borewright.errors import LinkError
from borewright.link import Endpoint

__all__ = ["Pump", "PumpEnd", "link_was_lost"]

READ_SIZE = 4096  # with a timeout of 10-20 ms, neither speed nor delay suffers


@dataclass(frozen=True, slots=True)
class PumpEnd:
    """Why the pump stopped: asked to, the link was lost, or a fault in the program (error then holds it)."""

    kind: Literal["stopped", "link_lost", "fault"]
    reason: str
    error: Exception | None = None


def link_was_lost(error: OSError) -> LinkError:
    """A port that failed, in a sentence.

    >>> print(link_was_lost(OSError("it was pulled")))
    the link to the rig was lost (it was pulled); check the cable and the rig, then open it again
    """
    return LinkError(f"the link to the rig was lost ({error}); check the cable and the rig, then open it again")


def _nothing() -> bytes:
    return b""


class Pump:
    """Reads, hands over, writes what comes back; in the caller's thread or in its own.

    on_bytes(data, monotonic_s) gets what was read (nothing, when nothing came within the timeout) with the time after the read, and
    gives the bytes to send. farewell() gives the bytes to send when the pump stops for whatever reason and the link still takes
    them: shut and vent.
    """

    def __init__(
        self,
        endpoint: Endpoint,
        on_bytes: Callable[[bytes, float], bytes],
        *,
        farewell: Callable[[], bytes] = _nothing,
        timeout_s: float = 0.015,
    ) -> None:
        self._endpoint = endpoint
        self._on_bytes = on_bytes
        self._farewell = farewell
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        endpoint.timeout = timeout_s

    def once(self) -> None:
        """One turn of the loop. Raises LinkError when the link was lost; what on_bytes raises passes through."""
        data = self._receive()
        self._send(self._on_bytes(data, self._endpoint.monotonic()))

    def run(self) -> PumpEnd:
        """Turn until stop() is called or something breaks; raises nothing but what ends the program."""
        end = PumpEnd("stopped", "the pump was stopped")
        try:
            while not self._stop.is_set():
                self.once()
        except LinkError as error:
            end = PumpEnd("link_lost", str(error), error)
        except Exception as error:  # noqa: BLE001 -- whatever it is, it must be heard and not die with the thread
            end = PumpEnd("fault", f"the program failed while reading the rig ({type(error).__name__}: {error}); restart it", error)
        except BaseException:  # Ctrl-C in the caller's own thread
            self._take_leave()
            raise
        if end.kind != "link_lost":  # over a lost link nothing can be said: the device shuts and vents by itself
            self._take_leave()
        return end

    def run_in_thread(self, on_end: Callable[[PumpEnd], None]) -> None:
        """Run in a thread of its own; on_end is called there, once. Raises RuntimeError when it runs already."""
        if self._thread is not None:
            raise RuntimeError("this pump has been started already")
        self._thread = threading.Thread(target=lambda: on_end(self.run()), name="borewright-pump", daemon=True)
        self._thread.start()

    def stop(self, wait_s: float | None = 5.0) -> bool:
        """Ask the loop to end and wait for its thread; True when it has ended."""
        self._stop.set()
        if self._thread is None or self._thread is threading.current_thread():
            return True
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _receive(self) -> bytes:
        try:
            return self._endpoint.read(READ_SIZE)
        except OSError as error:
            raise link_was_lost(error) from error

    def _send(self, data: bytes) -> None:
        if not data:
            return
        try:
            self._endpoint.write(data)
        except OSError as error:
            raise link_was_lost(error) from error

    def _take_leave(self) -> None:
        with contextlib.suppress(Exception):  # the end is told already, and silence has the same effect on the device
            self._send(self._farewell())
