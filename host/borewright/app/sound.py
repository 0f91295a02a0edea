"""Sound cues, where this computer can sound them: by QtMultimedia if it is installed, else by the desktop's own beep."""

from __future__ import annotations

import time
from typing import Any, Protocol

from PySide6.QtCore import QBuffer, QByteArray, QObject
from PySide6.QtWidgets import QApplication

from borewright.app.desk import Desk
from borewright.app.sound_model import RATE_HZ, Cue, Cues, pcm
from borewright.service.snapshot import Snapshot

__all__ = ["Beeper", "Player", "SoundCues", "Speaker", "best_player"]


class Player(Protocol):
    """Sounds a cue."""

    name: str

    def play(self, cue: Cue) -> None:
        """Begin to sound it; returns at once."""


class Beeper:
    """The desktop's own beep: one sound for all, so only what must not be missed has it."""

    name = "the desktop's beep alone, for air, PRESSURISED and alarms; a speaker needs PySide6-Addons and an audio output"

    def play(self, cue: Cue) -> None:
        """Beep."""
        if cue != "approach":
            QApplication.beep()


class Speaker(QObject):
    """An audio output through QtMultimedia."""

    name = "the computer's audio output"

    def __init__(self, multimedia: Any) -> None:
        """Raises OSError where there is no output."""
        super().__init__()
        output = multimedia.QMediaDevices.defaultAudioOutput()
        if output.isNull():
            raise OSError("there is no audio output")
        form = multimedia.QAudioFormat()
        form.setSampleRate(RATE_HZ)
        form.setChannelCount(1)
        form.setSampleFormat(multimedia.QAudioFormat.SampleFormat.Int16)
        if not output.isFormatSupported(form):
            raise OSError("the audio output does not take plain samples")
        self._sink = multimedia.QAudioSink(output, form, self)
        self._buffer = QBuffer(self)

    def play(self, cue: Cue) -> None:
        """Sound it; one that still sounds is cut off."""
        self._sink.stop()
        self._buffer.close()
        self._buffer.setData(QByteArray(pcm(cue)))
        self._buffer.open(QBuffer.OpenModeFlag.ReadOnly)
        self._sink.start(self._buffer)


def best_player() -> Player:
    """The best that this computer has; never raises."""
    try:
        from PySide6 import QtMultimedia  # noqa: PLC0415 -- comes with PySide6-Addons, which nothing else needs

        return Speaker(QtMultimedia)
    except (ImportError, OSError):
        return Beeper()


class SoundCues(QObject):
    """Listens to the desk and sounds what is due, while the person has not turned it off. player: None, the best there is."""

    def __init__(self, desk: Desk, player: Player | None = None) -> None:
        super().__init__(desk)
        self._desk = desk
        self._cues = Cues()
        self._player = player
        desk.snapshot_changed.connect(self.show_snapshot)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Sound what belongs to it."""
        cue = self._cues.due(snapshot)
        if cue is None or not self._desk.settings.sounds:
            return
        if self._player is None:
            self._player = best_player()
            self._desk.log.add(time.time(), "note", f"sounds: {self._player.name}")
        self._player.play(cue)
