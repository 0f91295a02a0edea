"""The zero check: both transducers read at vent for two seconds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck
from borewright.core.samples import SampleColumns
from borewright.service.effects import SaveCheck
from borewright.service.state import ZeroTaking
from borewright.service.work import Work

__all__ = ["begin_zero", "watch_zero"]

ZERO_S = 2.0
LARGEST_ZERO_SHARE = 0.02  # of the range: beyond it the transducer is the wrong one, or broken


def begin_zero(work: Work) -> None:
    """Begin to read the zeros; the rig has to be vented."""
    if work.state.pressurised or work.state.readiness.state not in (State.VENTED, State.READY):
        work.say("warning", "the zeros can only be taken while the rig is vented")
        return
    work.set(zero=ZeroTaking())


def watch_zero(work: Work, columns: SampleColumns) -> None:
    """Gather samples at vent; after two seconds keep their mean as the zeros."""
    zero, transducers, identity = work.state.zero, work.state.transducers, work.state.session.identity
    if zero is None or transducers is None or identity is None:
        return
    if work.state.pressurised or work.state.readiness.state not in (State.VENTED, State.READY):
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
    passed = max(abs(regulated_pa), abs(cylinder_pa)) <= LARGEST_ZERO_SHARE * span_pa
    work.set(zero=None)
    if passed:
        work.set(transducers=transducers.with_zeros(regulated_pa, cylinder_pa))
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


def keep_check(work: Work, check: RigCheck) -> None:
    """Keep a check: in the state for what follows, and in the record."""
    work.set(checks={**work.state.checks, check.kind: check})
    work.do(SaveCheck(check))
