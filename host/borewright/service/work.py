"""One step of the reducer in the making: the state so far and the effects so far. Lives only within `reducer.step`."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from borewright.service.effects import Effect, KeepEvent, Level, Say, Send
from borewright.service.state import BenchState
from borewright.session.session import Command

__all__ = ["Work"]


class Work:
    """Collects what one event leads to. `state` is replaced, never changed."""

    def __init__(self, state: BenchState, now_host_s: float) -> None:
        self.state = state
        self.now_host_s = now_host_s
        self.effects: list[Effect] = []

    def set(self, **changes: Any) -> None:
        """The state with these fields changed."""
        self.state = self.state.changed(changes)

    def do(self, *effects: Effect) -> None:
        """Have these carried out, after those before."""
        self.effects.extend(effects)

    def send(self, message: Command, *, renewal: bool = False) -> None:
        """Send a command through the session, which numbers it and repeats it until it is answered.

        A renewal says again what was said before, five times a second, and is left out of the log.
        """
        outcome = self.state.session.command(message, self.now_host_s)
        self.set(session=outcome.session)
        self.do(*(Send(sent) for sent in outcome.send))
        if not renewal:
            detail = {name: value for name, value in asdict(message).items() if name != "request_id"}
            self.log("command", command=type(message).__name__, **detail)

    def say(self, level: Level, text: str) -> None:
        """Tell the person."""
        self.do(Say(level, text))

    def log(self, kind: str, **detail: object) -> None:
        """Keep an event in the log, at the device time of the latest sample."""
        rate = self.state.session.identity.tick_rate_hz if self.state.session.identity else 1
        self.do(KeepEvent(kind, round(self.state.now_s * rate), detail))
