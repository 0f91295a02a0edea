"""Sound cues: which for which change, how often at most, and what is there without an audio output."""

from __future__ import annotations

from array import array
from collections.abc import Callable
from dataclasses import replace

import pytest
from borewright.app.desk import Desk
from borewright.app.settings import Settings
from borewright.app.sound import Beeper, Player, SoundCues, best_player
from borewright.app.sound_model import CUES, RATE_HZ, Cue, Cues, pcm
from borewright.service import acts
from borewright.service.snapshot import Snapshot, Told

from .practice_hand import begin_job, checks_of
from .screen_person import ScreenPerson
from .virtual_desk import TURNS_A_LOOK_AT_BEST, bench_time, bench_until


class Heard:
    """A player that only notes what it was to sound."""

    name = "the test's ear"

    def __init__(self) -> None:
        self.cues: list[Cue] = []

    def play(self, cue: Cue) -> None:
        self.cues.append(cue)


def alarmed(snapshot: Snapshot, number: int, at_s: float) -> Snapshot:
    told = (*snapshot.told, Told(number, 0.0, "alarm", "shut and vent"))
    return replace(snapshot, told=told, read_at_s=at_s, number=snapshot.number + number)


@pytest.mark.parametrize("cue", CUES)
def test_every_sound_is_short_soft_at_its_edges_and_never_too_loud(cue: Cue) -> None:
    words = array("h", pcm(cue))
    assert 0.02 < len(words) / RATE_HZ < 1.0
    assert abs(words[0]) < 200
    assert abs(words[-1]) < 200
    assert 3_000 < max(words) < 20_000


def test_the_sounds_differ() -> None:
    assert len({pcm(cue) for cue in CUES}) == len(CUES)


def test_alarms_that_were_told_before_make_no_sound_and_later_ones_not_too_often(desk: Desk) -> None:
    first = alarmed(desk.snapshot, 7, 10.0)
    cues = Cues()
    assert cues.due(first) is None
    second = alarmed(first, 8, 10.1)
    assert cues.due(second) == "alarm"
    third = alarmed(second, 9, 10.2)
    assert cues.due(third) is None
    assert cues.due(replace(third, read_at_s=13.0)) == "alarm"  # it was not forgotten
    assert cues.due(replace(third, read_at_s=20.0)) is None


def test_a_test_is_heard_from_the_approach_to_the_vent(
    make_desk: Callable[..., Desk], tmp_path_factory: pytest.TempPathFactory
) -> None:
    desk = make_desk()
    bench_time(desk, 1.0)
    begin_job(desk, checks_of("hillclimb-before", tmp_path_factory.getbasetemp()))
    ear = Heard()
    SoundCues(desk, ear)
    person = ScreenPerson(desk, lambda reached: bench_until(desk, reached, limit_turns=8_000, turns_a_look=TURNS_A_LOOK_AT_BEST))
    desk.tell(acts.SetPurpose(acts.Purpose("test", 1)))
    person.wait_s(0.2)
    person.until("give_air")
    person.at_rig("hold press")
    bench_until(desk, lambda: bool(desk.snapshot.done), limit_turns=8_000)
    heard = ear.cues
    assert heard.index("tdc") < heard.index("air_coming") < heard.index("pressurised")
    assert heard.count("air_coming") == 1
    assert heard[: heard.index("tdc")].count("approach") >= 2
    assert "alarm" not in heard


def test_sounds_that_are_turned_off_are_not_heard(make_desk: Callable[..., Desk]) -> None:
    desk = make_desk(settings=Settings(theme="light", sounds=False))
    ear = Heard()
    cues = SoundCues(desk, ear)
    bench_time(desk, 0.2)
    cues.show_snapshot(alarmed(desk.snapshot, 50, 1.0))
    desk.change_setting(sounds=True)
    cues.show_snapshot(alarmed(desk.snapshot, 60, 9.0))
    assert ear.cues == ["alarm"]


def test_what_there_is_to_sound_with_is_logged_once(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    player: Player = Beeper()
    monkeypatch.setattr("borewright.app.sound.best_player", lambda: player)
    cues = SoundCues(desk)
    cues.show_snapshot(alarmed(desk.snapshot, 70, 20.0))
    cues.show_snapshot(alarmed(desk.snapshot, 71, 30.0))
    lines = [line.text for line in desk.log.last(50) if line.text.startswith("sounds: ")]
    assert lines == [f"sounds: {player.name}"]


def test_there_is_always_something_to_sound_with() -> None:
    player = best_player()
    for cue in CUES:
        player.play(cue)  # whatever it is, it raises nothing
    assert player.name
