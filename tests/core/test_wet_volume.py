"""The oil of a wet test fills part of the chamber: it is taken off what the engine's data lead to expect, and only then."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from borewright.core.calibration import instrument_of
from borewright.core.engine import Engine
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw, RigSetup
from borewright.service.analysis import computed_anew
from borewright.service.laws import Laws

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
OIL_M3 = 9e-6  # more than any dose, so that it stands out from the 3 % by which a clearance volume is known


@pytest.mark.parametrize(("oil_m3", "contradicts"), [(0.0, True), (OIL_M3, False)])
def test_the_oil_is_taken_off_the_volume_that_is_expected(synthesise: Callable[..., Any], oil_m3: float, contradicts: bool) -> None:
    run = synthesise()
    setup = RigSetup()
    restrictor = Restrictor(setup.restrictor_area_m2, u_relative=0.002)
    instrument = replace(instrument_of(setup, {}, 101_325.0, 293.15)[0], restrictor=restrictor)
    laws = Laws(LAW, LAW, 0, 1, restrictor, (490e3, 620e3), 101_325.0, 293.15, 293.15, instrument, ())
    # what the plant holds is the chamber without the oil's volume
    clearance_m3 = run.run.cylinder_m3 - setup.hose_volume_m3 + OIL_M3
    engine = Engine("invented", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, clearance_m3)
    marks = computed_anew(run.columns, laws, engine, oil_m3).marks
    assert any(mark.startswith("contradiction") and "volume" in mark for mark in marks) == contradicts, marks
