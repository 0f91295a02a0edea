"""The eight conditions: all met in the good case, and each broken in every way that has a reason of its own."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest
from borewright.core.conditions import (
    CONDITION_NAMES,
    CONFIRMATIONS,
    AirFacts,
    Condition,
    LinkFacts,
    PeopleFacts,
    PositionFacts,
    ReadinessFacts,
    ReferenceFacts,
    RigFacts,
    StillFacts,
    StrokeHoseFacts,
    all_met,
    confirmations_needed,
    evaluate,
)
from borewright.core.engine import Engine
from borewright.core.evidence import HoseEvidence, SqueezeVerdict, StrokeEvidence
from borewright.core.limits import Limits
from borewright.core.motion import Approach
from borewright.core.rig import TrueTdc

LIMITS = Limits()
NOW_S = 1000.0
FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWO_STROKE = Engine("two", "two-stroke", (1,), (360.0,), 0.054, 0.0545, 0.11, 20e-6)
GOOD = ReadinessFacts(
    engine=FOUR,
    cylinder=1,
    link=LinkFacts(True, True),
    rig=RigFacts(100.0, -100.0, 60.0, 86400.0, 86400.0),
    reference=ReferenceFacts(True, True, TrueTdc(100.0, 1, 0.1, "piston_stop"), True),
    stroke_hose=StrokeHoseFacts(
        StrokeEvidence("squeeze", 1, 500.0, 7, 990.0), HoseEvidence("squeeze", 1, 7, 990.0, True, (4,)), 7, 1
    ),
    position=PositionFacts(502, 500.0, 1440, 1, 40.0, 6.0, 0.1, Approach(True)),
    still=StillFacts(1, 1.0),
    air=AirFacts(0.0, 0.0, True, True, False, 551_000.0, 496_000.0, 620_000.0),
    people=PeopleFacts(frozenset(CONFIRMATIONS) - {"crankcase_open"}, 990.0),
)


def named(facts: ReadinessFacts, name: str, limits: Limits = LIMITS, now_s: float = NOW_S) -> Condition:
    return next(c for c in evaluate(facts, limits, now_s) if c.name == name)


def test_the_good_case_is_met_in_order():
    conditions = evaluate(GOOD, LIMITS, NOW_S)
    assert tuple(c.name for c in conditions) == CONDITION_NAMES
    assert all_met(conditions)
    assert all(c.reason and not c.marks for c in conditions)


def test_nothing_known_is_nothing_met():
    assert not any(c.met for c in evaluate(ReadinessFacts(FOUR, 1), LIMITS, NOW_S))


def test_fewer_or_other_conditions_are_never_enough():
    conditions = evaluate(GOOD, LIMITS, NOW_S)
    assert not all_met(conditions[:-1])
    assert not all_met((*conditions, conditions[0]))
    assert not all_met(conditions[::-1])


STROKE, HOSE = GOOD.stroke_hose.stroke, GOOD.stroke_hose.hose
assert STROKE is not None
assert HOSE is not None

BROKEN = [
    ("link", {"link": LinkFacts()}, "no rig"),
    ("link", {"link": LinkFacts(trouble="nothing answers")}, "nothing answers"),
    ("link", {"link": LinkFacts(True)}, "no samples"),
    ("link", {"link": LinkFacts(True, True, 0.49)}, "missing"),
    ("link", {"link": LinkFacts(True, True, same_boot=False)}, "restarted"),
    ("rig", {"rig": replace(GOOD.rig, zero_age_s=None)}, "zeros"),
    ("rig", {"rig": replace(GOOD.rig, zero_age_s=50_000.0)}, "zeros"),
    ("rig", {"rig": replace(GOOD.rig, zero_cylinder_pa=None)}, "not been seen at vent"),
    ("rig", {"rig": replace(GOOD.rig, zero_regulated_pa=-2500.0)}, "-2.5 kPa"),
    ("rig", {"rig": replace(GOOD.rig, zero_regulated_pa=nan)}, "nan"),
    ("rig", {"rig": replace(GOOD.rig, zero_age_s=-7200.0)}, "clock has been set back"),
    ("rig", {"rig": replace(GOOD.rig, sealed_age_s=-7200.0)}, "sealed check is dated in the future"),
    ("rig", {"rig": replace(GOOD.rig, sealed_age_s=None)}, "sealed check has not been made"),
    ("rig", {"rig": replace(GOOD.rig, restrictor_age_s=100 * 86400.0)}, "100 days"),
    ("reference", {"reference": replace(GOOD.reference, stop_removed=False)}, "piston stop"),
    ("reference", {"reference": replace(GOOD.reference, index_seen=False)}, "index"),
    ("reference", {"reference": replace(GOOD.reference, index_spacing_ok=None)}, "whole turn"),
    ("reference", {"reference": replace(GOOD.reference, index_spacing_ok=False)}, "lost"),
    ("reference", {"reference": replace(GOOD.reference, tdc=None)}, "not known"),
    ("reference", {"reference": replace(GOOD.reference, fitting_confirmed=False)}, "not confirmed"),
    ("reference", {"reference": replace(GOOD.reference, peak_late_deg=3.2)}, "3.2"),
    ("stroke_and_hose", {"engine": None}, "no engine"),
    ("stroke_and_hose", {"cylinder": 2}, "put into cylinder 1"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, hose_at=4)}, "put into cylinder 4"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, stroke=None)}, "compression one"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, stroke=replace(STROKE, cylinder=4))}, "compression one"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, boot_id=8)}, "restarted"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, hose=None)}, "that the hose is in"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, hose=replace(HOSE, cylinder=2))}, "that the hose is in"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, hose=replace(HOSE, boot_id=6))}, "restarted"),
    ("stroke_and_hose", {"stroke_hose": replace(GOOD.stroke_hose, hose=replace(HOSE, read_back=False))}, "4 moves in step"),
    (
        "stroke_and_hose",
        {"stroke_hose": StrokeHoseFacts(STROKE, HoseEvidence("puff_read_back", 1, 7, 0.0), 7, 1)},
        "not been read back",
    ),
    ("position", {"position": replace(GOOD.position, holding_torque_nm=None)}, "holding torque"),
    ("position", {"position": replace(GOOD.position, torque_window_deg=0.2)}, "too small"),
    ("position", {"position": replace(GOOD.position, tdc_count=None)}, "not known"),
    ("position", {"position": replace(GOOD.position, count=500 + 1440)}, "wrong TDC"),
    ("position", {"position": replace(GOOD.position, count=500 - 1438)}, "wrong TDC"),
    ("position", {"position": replace(GOOD.position, count=507)}, "1.8° after"),
    ("position", {"position": replace(GOOD.position, count=493)}, "1.8° before"),
    ("position", {"position": replace(GOOD.position, torque_window_deg=0.6)}, "±0.4°"),
    ("position", {"position": replace(GOOD.position, tdc_count=nan)}, "nan"),
    ("position", {"position": replace(GOOD.position, approach=None)}, "running direction"),
    ("position", {"position": replace(GOOD.position, approach=Approach(False))}, "running direction"),
    ("position", {"position": replace(GOOD.position, approach=Approach(True, 5.0, 90.0))}, "only 90"),
    ("still", {"still": StillFacts(2, 1.0)}, "2 counts"),
    ("still", {"still": StillFacts(0, 0.9)}, "0.9 s"),
    ("air", {"air": replace(GOOD.air, supply_shut=False)}, "supply is open"),
    ("air", {"air": replace(GOOD.air, vent_open=False)}, "vent is closed"),
    ("air", {"air": replace(GOOD.air, p_cylinder_gauge_pa=None)}, "not known"),
    ("air", {"air": replace(GOOD.air, p_cylinder_gauge_pa=5000.0)}, "5 kPa"),
    ("air", {"air": replace(GOOD.air, p_cylinder_gauge_pa=nan)}, "holds"),
    ("air", {"air": replace(GOOD.air, p_regulated_gauge_pa=30_000.0)}, "30 kPa"),
    ("air", {"air": replace(GOOD.air, regulated_rising=True)}, "reads above the cylinder's with the supply shut"),
    ("air", {"air": replace(GOOD.air, proven_gauge_pa=None)}, "not been proven"),
    ("air", {"air": replace(GOOD.air, proven_gauge_pa=700_000.0)}, "700 kPa"),
    ("people", {"people": PeopleFacts()}, "not confirmed"),
    ("people", {"people": replace(GOOD.people, at_s=399.0)}, "10 minutes"),
    ("people", {"people": replace(GOOD.people, at_s=1001.0)}, "minutes ago"),
    ("people", {"people": replace(GOOD.people, moved_deg=-2.1)}, "moved 2.1"),
    ("people", {"people": replace(GOOD.people, hose_undone=True)}, "hose"),
]


@pytest.mark.parametrize(("name", "change", "words"), BROKEN, ids=[f"{n}: {w}" for n, _, w in BROKEN])
def test_each_way_to_break_a_condition(name: str, change: dict[str, object], words: str):
    condition = named(replace(GOOD, **change), name)  # type: ignore[arg-type]
    assert not condition.met
    assert words in condition.reason
    assert condition.remedy.endswith((".", "1."))
    assert "\n" not in condition.reason


@pytest.mark.parametrize("point", sorted(confirmations_needed(FOUR)))
def test_every_point_has_to_be_confirmed(point: str):
    condition = named(replace(GOOD, people=replace(GOOD.people, confirmed=GOOD.people.confirmed - {point})), "people")
    assert not condition.met
    assert point.replace("_", " ") in condition.reason


def test_only_what_the_limits_allow_can_be_waived():
    rig = replace(GOOD.rig, sealed_age_s=None, waived=frozenset({"sealed"}))
    condition = named(replace(GOOD, rig=rig), "rig")
    assert condition.met
    assert condition.marks == ("sealed check waived",)
    assert not named(replace(GOOD, rig=rig), "rig", replace(LIMITS, waivable=frozenset())).met
    waived = frozenset({"zero", "tdc", "sealed", "restrictor", "over_pressure"})
    assert not named(replace(GOOD, rig=replace(GOOD.rig, zero_age_s=None, waived=waived)), "rig").met
    assert not named(replace(GOOD, rig=replace(GOOD.rig, waived=waived), reference=ReferenceFacts(True, True)), "reference").met


def test_what_is_declared_is_marked():
    said = StrokeHoseFacts(
        StrokeEvidence("declared", 1, 500.0, 7, 0.0, "A. Person"), HoseEvidence("declared", 1, 7, 0.0, said_by="A. Person"), 7, 1
    )
    condition = named(replace(GOOD, stroke_hose=said), "stroke_and_hose")
    assert condition.met
    assert condition.marks == ("stroke declared by A. Person", "hose declared by A. Person")
    mark = replace(GOOD.reference, tdc=TrueTdc(0.0, 1, 0.5, "timing_mark"))
    assert named(replace(GOOD, reference=mark), "reference").marks == ("true TDC by timing mark, ±1.0°",)


def test_a_two_stroke_needs_hose_evidence_only_and_an_open_crankcase():
    facts = replace(
        GOOD,
        engine=TWO_STROKE,
        stroke_hose=StrokeHoseFacts(None, HoseEvidence("squeeze", 1, 7, 0.0), 7, 1),
        people=replace(GOOD.people, confirmed=frozenset(CONFIRMATIONS)),
    )
    assert all_met(evaluate(facts, LIMITS, NOW_S))
    assert not named(replace(facts, people=GOOD.people), "people").met
    assert not named(replace(facts, stroke_hose=StrokeHoseFacts(boot_id=7, hose_at=1)), "stroke_and_hose").met


def test_the_last_squeeze_says_why():
    verdict = SqueezeVerdict("out_of_step", "the pressure rises in step with cylinder 2 or 3")
    facts = replace(GOOD, stroke_hose=StrokeHoseFacts(boot_id=7, hose_at=1, verdict=verdict))
    assert "in step with cylinder 2 or 3" in named(facts, "stroke_and_hose").reason


def test_the_rigs_own_checks_need_no_cylinder_but_a_look_at_the_outlet():
    unchecked = replace(GOOD.rig, sealed_age_s=None, restrictor_age_s=None)
    unproven = replace(GOOD.air, proven_gauge_pa=None)
    facts = ReadinessFacts(None, 0, "sealed", link=GOOD.link, rig=unchecked, still=GOOD.still, air=unproven, people=GOOD.people)
    assert [c.name for c in evaluate(facts, LIMITS, NOW_S) if not c.met] == ["stroke_and_hose"]
    assert all_met(evaluate(replace(facts, stroke_hose=StrokeHoseFacts(outlet_read_back=True)), LIMITS, NOW_S))
    orifice = replace(facts, purpose="restrictor", stroke_hose=StrokeHoseFacts(outlet_read_back=True))
    assert [c.name for c in evaluate(orifice, LIMITS, NOW_S) if not c.met] == ["rig", "air"]
    stop_in = replace(facts, reference=ReferenceFacts(stop_removed=False))
    assert not named(stop_in, "reference").met


@pytest.mark.parametrize("sign", [1, -1])
def test_before_and_after_follow_the_running_direction(sign: int):
    position = replace(GOOD.position, running_sign=sign, count=510)
    assert ("after" if sign == 1 else "before") in named(replace(GOOD, position=position), "position").reason
