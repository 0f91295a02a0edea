"""The zero check: both transducers read at vent for two seconds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from borewire.messages import AirState

from borewright.core.channel_sense import ChannelTrouble, trouble_at_vent
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck
from borewright.core.samples import SampleColumns
from borewright.service.checks import keep_check
from borewright.service.state import BenchState, ZeroTaking
from borewright.service.transducers import Transducers
from borewright.service.work import Work

__all__ = ["begin_zero", "watch_zero"]

ZERO_S = 2.0
LARGEST_ZERO_SHARE = 0.02  # of the range: beyond it the transducer is the wrong one, or broken
UNDER_SEEN_SHARE = 0.9  # of what counts as pressure that is seen: a zero may never hide that


def begin_zero(work: Work) -> None:
    """Begin to read the zeros; the rig has to be vented, and where there are valves the device has to say so."""
    if not _vented(work.state):
        work.say("warning", "the zeros can only be taken while the rig is vented; shut the supply and open the vent")
        return
    work.set(zero=ZeroTaking())


def watch_zero(work: Work, columns: SampleColumns) -> None:
    """Gather samples at vent; after two seconds keep their mean as the zeros."""
    zero, transducers, identity = work.state.zero, work.state.transducers, work.state.session.identity
    if zero is None or transducers is None or identity is None:
        return
    if not _vented(work.state):
        work.set(zero=None)
        work.say("warning", "the zeros were not taken: the rig did not stay vented; take them again")
        return
    zero = replace(zero, parts=(*zero.parts, columns))
    work.set(zero=zero)
    if columns.t_s[-1] - zero.parts[0].t_s[0] < ZERO_S:
        return
    plain = transducers.with_zeros(0.0, 0.0)
    regulated, cylinder = plain.gauge_pa(SampleColumns.join(zero.parts))
    regulated_pa, cylinder_pa = float(np.mean(regulated)), float(np.mean(cylinder))
    span_pa = work.state.setup.transducer_high_gauge_pa - work.state.setup.transducer_low_gauge_pa
    largest_pa = min(LARGEST_ZERO_SHARE * span_pa, UNDER_SEEN_SHARE * work.state.limits.seen_gauge_pa)
    trouble = _trouble(work.state, transducers)
    passed = trouble is None and max(abs(regulated_pa), abs(cylinder_pa)) <= largest_pa
    work.set(zero=None)
    if trouble is not None:
        work.say("warning", f"the zeros cannot be taken: {trouble.words}. {trouble.remedy}")
    elif passed:
        work.set(transducers=transducers.with_zeros(regulated_pa, cylinder_pa), supply_leaked=False)
    else:
        work.say("warning", "a transducer is far from zero at vent; see that the vent is open and the transducer is the right one")
    result: dict[str, float | int | str | bool] = {
        "setup": work.state.setup.fingerprint,
        "zero_regulated_pa": regulated_pa,
        "zero_cylinder_pa": cylinder_pa,
        "noise_regulated_pa": float(np.std(regulated, ddof=1)),
        "noise_cylinder_pa": float(np.std(cylinder, ddof=1)),
    }
    keep_check(work, RigCheck("zero", work.state.unix_s, work.state.who, identity.serial_number, passed, result))


def _trouble(state: BenchState, transducers: Transducers) -> ChannelTrouble | None:
    """What is wrong with the channels themselves; noise beside each other only, for what was kept is to be replaced."""
    watch = state.channels
    return None if watch is None else trouble_at_vent(watch, (transducers.regulated, transducers.cylinder))


def _vented(state: BenchState) -> bool:
    by_word = not state.has_valves or state.device_air is AirState.VENTED
    return by_word and not state.pressurised and state.readiness.state in (State.VENTED, State.READY)
