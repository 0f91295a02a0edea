"""Trapped volumes of one engine's cylinders against each other, from records made by hand."""

from __future__ import annotations

from typing import Any

from borewright.core.instrument import Instrument
from borewright.core.plain import to_plain
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw
from borewright.core.uncertainty import Budget, Item
from borewright.service.other_cylinders import odd_volumes
from borewright.store.records import CaptureRecord, CaptureState

LAW = to_plain(ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0))
LAWS: dict[str, Any] = {
    "regulated": LAW,
    "cylinder": LAW,
    "regulated_channel": 0,
    "cylinder_channel": 1,
    "restrictor": to_plain(Restrictor(8.1e-7)),
    "regulated_range_gauge_pa": [500e3, 620e3],
    "p_ambient_abs_pa": 101_325.0,
    "t_supply_k": 293.15,
    "t_engine_k": 293.15,
    "instrument": to_plain(Instrument(Restrictor(8.1e-7))),
    "assumed": [],
}


def kept(cylinder: int, volume_cm3: float, laws: dict[str, Any] | None = None, state: CaptureState = "complete") -> CaptureRecord:
    budgets = [
        Budget("leakage", "%", 9.7, (Item("noise of the readings", 0.02),)),
        Budget("leak area", "mm²", 0.5, (Item("restrictor", 0.003),)),
        Budget("trapped volume", "cm³", volume_cm3, (Item("noise of the readings", 0.8),)),
    ]
    result = {"leakage_percent": 9.7, "budgets": [budget.as_dict() for budget in budgets]}
    return CaptureRecord(
        cylinder, 1, "test", cylinder, state, 0.0, 1.0, None, (), {}, result, LAWS if laws is None else laws, {}, {}, "BW-1"
    )


def test_cylinders_that_are_alike_say_nothing() -> None:
    assert odd_volumes([kept(1, 89.0), kept(2, 90.1), kept(3, 89.6), kept(4, 88.7)]) == ()


def test_a_cylinder_with_far_more_room_is_named() -> None:
    said = odd_volumes([kept(1, 89.0), kept(2, 90.1), kept(3, 110.0), kept(4, 88.7)])
    assert len(said) == 1
    assert said[0].startswith("cylinder 3: the trapped volume is 110.0 cm³")


def test_three_cylinders_are_too_few_and_void_tests_and_older_records_do_not_count() -> None:
    sound = [kept(1, 89.0), kept(2, 90.0)]
    assert odd_volumes([*sound, kept(3, 130.0)]) == ()
    assert odd_volumes([*sound, kept(3, 90.1), kept(4, 150.0, state="void")]) == ()
    assert odd_volumes([*sound, kept(3, 90.1), kept(4, 150.0, laws={})]) == ()
