"""The regulator at other pressures than the test pressure: what may be asked for, and what a person says that it is set to."""

from __future__ import annotations

from borewright.core.engine import Engine
from borewright.core.readiness_table import Event
from borewright.core.rig import RigSetup
from borewright.core.stopping import highest_supply_gauge_pa
from borewright.service.acts import Purpose
from borewright.service.air import happen
from borewright.service.state import BenchState
from borewright.service.work import Work

__all__ = ["LEAST_ASKED_PA", "proof_of", "regulator_awaited_pa", "set_regulator", "will_move_regulator", "wrong_pressure"]

LEAST_ASKED_PA = 50_000.0  # under it an opening can hardly be told from a leak
SAME_PA = 1_000.0  # nobody sets a regulator to less than that
UNDER_THE_LIMIT = 0.97  # so that noise and the regulator's creep stay under the limit of over-pressure


def wrong_pressure(purpose: Purpose, setup: RigSetup, engine: Engine | None = None) -> str | None:
    """Why the pressures that this purpose asks for cannot be, in one sentence; None when they can."""
    asked = purpose.sweep_gauge_pa if purpose.asked_gauge_pa is None else (purpose.asked_gauge_pa, *purpose.sweep_gauge_pa)
    if purpose.stopped and engine is not None:
        allowed_pa = UNDER_THE_LIMIT * highest_supply_gauge_pa(engine, purpose.stopped)
        if not asked or max(asked) > allowed_pa:
            return f"with these places stopped the regulator gives {allowed_pa / 1000:.0f} kPa at most; set it and prove it first"
    if not asked:
        return None
    if purpose.kind != "sealed" and purpose.aim != "place":
        return "only with the outlet capped may the regulator be set to another pressure than the test pressure"
    highest_pa = max(setup.set_pressure_gauge_pa, UNDER_THE_LIMIT * setup.regulated_high_gauge_pa)
    for gauge_pa in asked:
        if not LEAST_ASKED_PA <= gauge_pa <= highest_pa:
            return (
                f"{gauge_pa / 1000:.0f} kPa cannot be asked for on this rig; "
                f"give pressures from {LEAST_ASKED_PA / 1000:.0f} to {highest_pa / 1000:.0f} kPa"
            )
    return None


def will_move_regulator(state: BenchState) -> bool:
    """Whether this purpose has the person set the regulator, after which what was proven of it no longer stands."""
    return state.purpose.aim == "span" or regulator_awaited_pa(state) is not None


def regulator_awaited_pa(state: BenchState) -> float | None:
    """What the regulator has to be set to before the next opening, None when it may stay as it is."""
    asked_pa, said_pa = state.purpose.asked_gauge_pa, state.regulator_said_gauge_pa
    if state.purpose.aim == "span":
        return None
    if said_pa is None:
        return asked_pa
    wanted_pa = state.setup.set_pressure_gauge_pa if asked_pa is None else asked_pa
    return None if abs(wanted_pa - said_pa) < SAME_PA else wanted_pa


def proof_of(gauge_pa: float) -> Purpose:
    """The capped opening that shows what the regulator gives, before air at this pressure is let into a cylinder."""
    return Purpose("sealed", aim="proof", asked_gauge_pa=gauge_pa)


def set_regulator(work: Work, gauge_pa: float) -> None:
    """The person has set the regulator. It is proven by the next opening into the closed outlet, and not before."""
    work.set(regulator_said_gauge_pa=gauge_pa, proven_gauge_pa=None)
    happen(work, Event.READY_LOST)
