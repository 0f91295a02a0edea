"""What a person types to a step, read alike by terminal and window."""

from __future__ import annotations

import pytest
from borewright.errors import UseError
from borewright.service import acts
from borewright.service.answers import act_of_answer, asks, engine_temperature_k, unit_of
from borewright.service.state import BenchState
from borewright.session.session import Session

STATE = BenchState(Session(0.0))
NM_PER_LB_FT = 1.3558179483314004  # 0.45359237 kg · 9.80665 m/s² · 0.3048 m, each exact by definition


@pytest.mark.parametrize(
    ("key", "text", "unit", "act"),
    [
        ("read_back_hose", " 3 ", None, acts.ReadBackHose(3)),
        ("restrain", "60", None, acts.StateRestraint(60.0)),
        ("restrain", "60 Nm", "lb·ft", acts.StateRestraint(60.0)),
        ("read_gauge", "551.6 kPa", None, acts.ReadGauge(551_600.0)),
        ("read_gauge", "5,5", "bar", acts.ReadGauge(550_000.0)),
    ],
)
def test_an_answer_is_its_act(key: str, text: str, unit: str | None, act: acts.Act) -> None:
    assert act_of_answer(key, text, STATE, unit) == act


def test_a_number_without_a_unit_is_in_the_one_that_is_shown() -> None:
    act = act_of_answer("restrain", "50", STATE, "lb·ft")
    assert isinstance(act, acts.StateRestraint)
    assert act.holding_torque_nm == pytest.approx(50.0 * NM_PER_LB_FT, rel=1e-6)


@pytest.mark.parametrize(
    ("key", "text", "unit", "said"),
    [
        ("read_back_hose", "2.5", None, "'2.5' is no number that can be used here; type a whole number"),
        ("read_back_hose", "", None, "nothing was typed; type a whole number"),
        ("restrain", "-4", None, "'-4' is no number that can be used here; type a number"),
        ("restrain", "nan", None, "'nan' is no number that can be used here; type a number"),
        ("restrain", "60 kPa", None, "'60 kPa' is no number that can be used here; type a number"),
        ("restrain", "99999", "N·m", "'99999' is no number that can be used here; type a number"),
        ("read_gauge", "551.6", None, "not a number with a unit"),
        ("read_place_gauge", "1.2", "kPa", "no gauge at a place is to be read now"),
        ("turn_to_tdc", "yes", None, "nothing is to be typed now"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_sentence(key: str, text: str, unit: str | None, said: str) -> None:
    with pytest.raises(UseError, match=said):
        act_of_answer(key, text, STATE, unit)


def test_which_steps_ask_and_for_what() -> None:
    assert [asks(key) for key in ("read_back_hose", "restrain", "read_gauge", "read_place_gauge", "hold")] == [True] * 4 + [False]
    assert [unit_of(key) for key in ("read_back_hose", "restrain", "read_gauge")] == [None, "torque", "pressure_gauge"]


@pytest.mark.parametrize(("text", "unit", "t_k"), [("82 degC", None, 355.15), ("180", "°F", 355.37), ("-10", "°C", 263.15)])
def test_the_temperature_of_an_engine(text: str, unit: str | None, t_k: float) -> None:
    assert engine_temperature_k(text, unit) == pytest.approx(t_k, abs=0.01)


@pytest.mark.parametrize(("text", "unit"), [("400", "°C"), ("-80", "°C"), ("warm", "°C"), ("82", None)])
def test_no_engine_is_so_hot_or_cold(text: str, unit: str | None) -> None:
    with pytest.raises(UseError):
        engine_temperature_k(text, unit)
