"""Ways to break the host on purpose, to see that the random sequences would show it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from borewright.core import conditions, evidence, readiness
from borewright.core.conditions import Condition, ReadinessFacts
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import TABLE, Event, Row, State
from borewright.service import evidence as kept_evidence
from borewright.service import on_act, on_news, on_samples, puff

__all__ = ["BROKEN", "break_it"]


def _always_met(name: str) -> Callable[..., Condition]:
    return lambda *_: Condition(name, True, "")


def _of_any_boot(condition: Callable[[ReadinessFacts], Condition]) -> Callable[[ReadinessFacts], Condition]:
    def of_any_boot(facts: ReadinessFacts) -> Condition:
        held = facts.stroke_hose
        stroke = None if held.stroke is None else replace(held.stroke, boot_id=held.boot_id)  # type: ignore[arg-type]
        hose = None if held.hose is None else replace(held.hose, boot_id=held.boot_id)  # type: ignore[arg-type]
        return condition(replace(facts, stroke_hose=replace(held, stroke=stroke, hose=hose)))

    return of_any_boot


def _as_it_came(_: Readiness, event: Event, *__: Any) -> Event:
    return event


def _nothing(*_: Any, **__: Any) -> None:
    return None


BROKEN: dict[str, tuple[tuple[object, str, object], ...]] = {
    "the link is always good": ((conditions, "_link", _always_met("link")),),
    "the zeros are always right": ((conditions, "_rig", _always_met("rig")),),
    "the reference is always right": ((conditions, "_reference", _always_met("reference")),),
    "stroke and hose are always shown": ((conditions, "_stroke_and_hose", _always_met("stroke_and_hose")),),
    "the crank always stands at TDC": ((conditions, "_position", _always_met("position")),),
    "the crank always stands still": ((conditions, "_still", _always_met("still")),),
    "the rig is always vented": ((conditions, "_air", _always_met("air")),),
    "the people always agree": ((conditions, "_people", _always_met("people")),),
    "the conditions are not looked at again": ((Readiness, "_checked_again", _as_it_came),),
    "the puff shows nothing": ((puff, "_misfit", lambda _: ""),),
    "nothing has to last through the puff": ((puff, "LASTING", ()),),
    "nobody waits until the crank stands after the puff": ((on_samples, "stands", lambda _: True),),
    "a restart drops nothing": (
        (on_news, "forget_evidence", _nothing),
        (conditions, "_stroke_and_hose", _of_any_boot(conditions._stroke_and_hose)),
    ),
    "another hole drops nothing": ((on_act, "drop_hose", _nothing), (kept_evidence, "drop_hose", _nothing)),
    "a number that was said last year still counts": ((on_act, "_place_hose", _nothing),),
    "nobody has to read back": ((evidence.HoseEvidence, "needs_read_back", False),),
    "the stroke is carried over the wrong way": (
        (on_act, "carry_over", lambda held, engine, to, counts, sign: evidence.carry_over(held, engine, to, counts, -sign)),
    ),
    "the crank is not followed since it was confirmed": ((on_samples, "_follow_people", _nothing),),
    "the torque does not count": ((on_act, "tdc_window_deg", lambda *_, **__: 30.0),),
    "an opening goes on after a gap": ((readiness, "row", lambda state, event, _: _rows(state, event, State.FILLING, Event.GAP)),),
    "a purpose may be changed under pressure": ((on_act, "_locked", lambda _: False),),
}


def _rows(state: State, event: Event, kept: State, ignored: Event) -> Row | None:
    return Row(state) if (state, event) == (kept, ignored) else TABLE.get((state, event))


"""What is missing: where, by which name, and what stands there instead."""


def break_it(broken: str, patch: pytest.MonkeyPatch) -> None:
    """Break the host so until the patch is undone. Prepare the sequences before it."""
    for where, name, instead in BROKEN[broken]:
        patch.setattr(where, name, instead)
