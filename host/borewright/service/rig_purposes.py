"""What air is let in for, in each check of the rig, and what has to be there before."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from borewright.core.rig import CheckKind, RigCheck, RigSetup
from borewright.errors import NotReadyError, UseError
from borewright.service import acts
from borewright.service.regulator import wrong_pressure
from borewright.units import parse

if TYPE_CHECKING:
    from borewright.core.pistonstop import PistonStop
    from borewright.service.bench import Done

__all__ = [
    "AIR_HINT",
    "came_to_nothing",
    "checked_purposes",
    "needed_before",
    "next_side",
    "sealed_purposes",
    "span_purposes",
    "volume_purposes",
]

AIR_HINT = "The checks are made in the order zero, span, sealed, restrictor."
SEALED_SHARES = (0.4, 0.7, 1.0)
SPAN_SHARES = (0.25, 0.5, 0.75, 1.0)


def sealed_purposes(pressures: tuple[str, ...], setup: RigSetup) -> tuple[acts.Purpose, ...]:
    """One capped capture at each pressure, rising, so that the regulator is left at the highest; by default three up to the test's.

    Raises UseError.

    >>> [round(purpose.asked_gauge_pa) for purpose in sealed_purposes(("500 kPa", "200 kPa"), RigSetup())]
    [200000, 500000]
    """
    if pressures:
        asked = tuple(sorted(parse(text, "pressure_gauge") for text in pressures))
    else:
        asked = tuple(share * setup.set_pressure_gauge_pa for share in SEALED_SHARES)
    return checked_purposes(tuple(acts.Purpose("sealed", asked_gauge_pa=asked_pa) for asked_pa in asked), setup)


def span_purposes(points: tuple[str, ...], setup: RigSetup, *, rising_only: bool = False) -> tuple[acts.Purpose, ...]:
    """The one opening beside the reference gauge, with the points of its sweep, rising and falling. Raises UseError.

    >>> [round(pa / 1e3) for pa in span_purposes(("500 kPa", "200 kPa"), RigSetup())[0].sweep_gauge_pa]
    [200, 500, 200]
    """
    if points:
        rising = tuple(sorted({parse(text, "pressure_gauge") for text in points}))
    else:
        rising = tuple(share * setup.set_pressure_gauge_pa for share in SPAN_SHARES)
    sweep = rising if rising_only else rising + rising[-2::-1]
    return checked_purposes((acts.Purpose("sealed", aim="span", sweep_gauge_pa=sweep),), setup)


def volume_purposes(through_orifice: tuple[acts.Purpose, ...]) -> tuple[acts.Purpose, ...]:
    """The hose volume from a capped capture, the dead volume from one through an orifice."""
    return (acts.Purpose("sealed", aim="volumes"), *through_orifice)


def checked_purposes(purposes: tuple[acts.Purpose, ...], setup: RigSetup) -> tuple[acts.Purpose, ...]:
    """The same purposes. Raises UseError for a pressure that cannot be asked for on this rig."""
    for purpose in purposes:
        wrong = wrong_pressure(purpose, setup)
        if wrong is not None:
            raise UseError(wrong)
    return purposes


def needed_before(kind: CheckKind, checks: Mapping[str, RigCheck]) -> None:
    """Raises NotReadyError where a check rests on another one that is not held."""
    restrictor = checks.get("restrictor")
    if kind == "acceptance" and (restrictor is None or not restrictor.passed):
        raise NotReadyError("a reference orifice is read with a restrictor that was checked; make the restrictor check first")


def came_to_nothing(done: Done) -> str:
    """Why a capture gave nothing to its check, and what to do, in one sentence."""
    hint = "see that the hose is off the engine and its end closed off as asked, and make the check again"
    return f"the check came to nothing: {(done.analysed.void_reason or 'no reason').rstrip('.')}; {hint}"


def next_side(stop: PistonStop) -> acts.TakeContact:
    """The contact that comes next; the two sides are touched in turn."""
    return acts.TakeContact("after" if stop.contacts and stop.contacts[-1].side == "before" else "before")
