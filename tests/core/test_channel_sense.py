"""Channel sense at vent and with air on: no signal, frozen, noisy; and what must not be called so."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from borewright.core.channel_sense import frozen_trouble, noise_limit_pa, trouble_at_vent
from borewright.core.channel_watch import ChannelWatch
from borewright.core.conditions import ReadinessFacts, RigFacts, evaluate
from borewright.core.limits import Limits
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
LAWS = (LAW, LAW)
KEPT_PA = (1_000.0, 1_000.0)


def columns(
    regulated: npt.NDArray[np.float64],
    cylinder: npt.NDArray[np.float64],
    crank: npt.NDArray[np.int64] | None = None,
    first: int = 0,
) -> SampleColumns:
    n = np.arange(first, first + len(regulated))
    raw = np.stack([regulated, cylinder]).round().clip(0, 4095).astype(np.uint16)
    return SampleColumns(n * 1000, n, n * 0 if crank is None else crank, raw, np.zeros(len(n), np.uint16), 1_000_000)


def noise(words: float, seed: int = 1, count: int = 1200, at: float = 410.0) -> npt.NDArray[np.float64]:
    return at + words * np.random.default_rng(seed).standard_normal(count)


def seen(regulated: npt.NDArray[np.float64], cylinder: npt.NDArray[np.float64], **more: npt.NDArray[np.int64]) -> ChannelWatch:
    return ChannelWatch((0, 1)).add(columns(regulated, cylinder, **more))


def test_two_channels_in_order_are_left_alone() -> None:
    for size in (0.0, 0.2, 0.6, 3.3, 9.0):  # also a rig whose converter sees no noise at all
        assert trouble_at_vent(seen(noise(size), noise(size, 2)), LAWS, None) is None
    assert trouble_at_vent(seen(noise(3.3), noise(3.3, 2)), LAWS, KEPT_PA) is None


@pytest.mark.parametrize(("channel", "name"), [(0, "regulated"), (1, "cylinder")])
def test_a_channel_that_does_not_move_is_frozen(channel: int, name: str) -> None:
    both = [noise(3.3), noise(3.3, 2)]
    both[channel] = np.full(1200, 407.0)
    for kept in (None, KEPT_PA):
        found = trouble_at_vent(seen(*both), LAWS, kept)
        assert found is not None
        assert (found.kind, found.channel) == ("frozen", name)


def test_both_frozen_is_found_by_the_noise_of_the_zero_check_alone() -> None:
    still = np.full(1200, 407.0)
    found = frozen_trouble(seen(still, still), LAWS, KEPT_PA)
    assert found is not None
    assert found.kind == "frozen"
    assert frozen_trouble(seen(still, still), LAWS, (100.0, 100.0)) is None  # a third of a step: it may stand


def test_a_quiet_channel_is_not_frozen_because_the_other_one_follows_a_pressure() -> None:
    still, pumped = np.full(1200, 407.0), noise(0.1) + 20.0 * np.sin(np.arange(1200) / 200.0)
    assert frozen_trouble(seen(still, pumped), LAWS, (30.0, 30.0)) is None  # a tenth of a step: it may stand
    assert frozen_trouble(seen(still, pumped, crank=np.arange(1200)), LAWS, None) is None
    assert frozen_trouble(seen(still, pumped), LAWS, KEPT_PA) is not None


def test_nothing_is_said_before_half_a_second_was_seen() -> None:
    still = np.full(400, 407.0)
    assert trouble_at_vent(seen(still, noise(3.3, count=400)), LAWS, KEPT_PA) is None
    assert frozen_trouble(ChannelWatch((0, 1)), LAWS, KEPT_PA) is None


@pytest.mark.parametrize(("word", "gives"), [(0, "nothing"), (4095, "all of its supply")])
def test_a_wire_that_is_off_or_shorted_gives_no_signal(word: int, gives: str) -> None:
    found = trouble_at_vent(seen(noise(3.3), np.full(1200, float(word))), LAWS, KEPT_PA)
    assert found is not None
    assert (found.kind, found.channel) == ("no_signal", "cylinder")
    assert gives in found.words


def test_noise_counts_from_three_times_that_of_the_zero_check_and_two_thousandths_of_the_range() -> None:
    assert noise_limit_pa(1_000.0, LAW) == 3_000.0
    assert noise_limit_pa(100.0, LAW) == 2_000.0
    step_pa = LAW.pa_per_raw
    for size_pa, noisy in ((2_700.0, False), (3_300.0, True)):
        found = trouble_at_vent(seen(noise(3.3), noise(size_pa / step_pa, 3)), LAWS, KEPT_PA)
        assert (found is not None) is noisy
    assert trouble_at_vent(seen(noise(3.3), noise(2_700.0 / step_pa, 3)), LAWS, None) is None
    unlike = trouble_at_vent(seen(noise(3.3), noise(6_000.0 / step_pa, 3)), LAWS, None)
    assert unlike is not None
    assert "the other one" in unlike.words


def test_noise_is_not_judged_while_the_crank_turns() -> None:
    turning = np.arange(1200, dtype=np.int64)
    pumped = noise(30.0, 3)
    assert trouble_at_vent(seen(noise(3.3), pumped, crank=turning), LAWS, KEPT_PA) is None
    assert trouble_at_vent(seen(noise(3.3), pumped), LAWS, KEPT_PA) is not None


def test_the_watch_says_the_same_for_any_chunks_and_forgets_after_a_second() -> None:
    regulated, cylinder = noise(3.3, count=3000), noise(5.0, 2, count=3000)
    whole = ChannelWatch((0, 1)).add(columns(regulated[2000:], cylinder[2000:], first=2000))
    cut = ChannelWatch((0, 1))
    for start in range(0, 3000, 40):
        cut = cut.add(columns(regulated[start : start + 40], cylinder[start : start + 40], first=start))
    assert cut.add(columns(regulated[:0], cylinder[:0])) == cut
    assert 1.0 <= cut.span_s < 1.1
    for one, other in zip(cut.looks, whole.looks, strict=True):
        assert one.deviation == pytest.approx(other.deviation, rel=0.05)
        assert one.mean == pytest.approx(other.mean, abs=0.3)
    with pytest.raises(ValueError, match="no samples"):
        _ = ChannelWatch((0, 1)).looks


def test_a_broken_channel_is_the_reason_of_the_condition() -> None:
    trouble = trouble_at_vent(seen(noise(3.3), np.full(1200, 407.0)), LAWS, KEPT_PA)
    facts = ReadinessFacts(None, 1, rig=RigFacts(0.0, 0.0, 1.0, 1.0, 1.0, channel_trouble=trouble))
    rig = next(condition for condition in evaluate(facts, Limits(), 0.0) if condition.name == "rig")
    assert not rig.met
    assert "cylinder transducer is frozen" in rig.reason
    assert "Check the transducer" in rig.remedy
