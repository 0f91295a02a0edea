"""The simulated rig for other programs, as the commands ask for it: the simulator's errors become the host's."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from boresim.rig import SimRig
from boresim.scenario import ScenarioError, load_scenario, scenario_names
from boresim.serve import ServeError, serve_pty, serve_tcp

from borewright.errors import UseError

__all__ = ["ScenarioWords", "scenarios", "serve"]


@dataclass(frozen=True, slots=True)
class ScenarioWords:
    """A scenario that comes with the simulator: its name, the stage of the job it shows, its story in a sentence."""

    name: str
    stage: str
    story: str


def scenarios() -> tuple[ScenarioWords, ...]:
    """The scenarios that come with the simulator, by name.

    >>> [words.stage for words in scenarios() if words.name == "hillclimb-before"]
    ['before']
    """
    loaded = (load_scenario(name) for name in scenario_names())
    return tuple(ScenarioWords(scenario.name, scenario.stage, scenario.story) for scenario in loaded)


def serve(
    scenario: str,
    *,
    tcp: tuple[str, int] | None,
    say: Callable[[str], None],
    speed: float | None = 1.0,
    seed: int | None = None,
    control_port: int = 0,
    stop: threading.Event | None = None,
) -> None:
    """Serve the rig of a scenario (name or file) until `stop` is set or Ctrl-C.

    tcp: host and port (0 for any), or None for a pseudo terminal. speed: virtual seconds for each second, None for as fast as it
    goes. say: called with "control HOST:PORT", "port NAME" and "warning WORDS". Raises UseError when the scenario or an address
    cannot be used.
    """
    try:
        rig = SimRig(load_scenario(scenario, seed))
        if tcp is None:
            serve_pty(rig, speed=speed, say=say, stop=stop, control_port=control_port)
        else:
            serve_tcp(rig, *tcp, speed=speed, say=say, stop=stop, control_port=control_port)
    except (ScenarioError, ServeError) as error:
        raise UseError(str(error)) from error
