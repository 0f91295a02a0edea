"""What is heard at a place, on its way into the record: through the bench while air is on, else straight; and taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from borewright.app.pages.findings_place import NeighbourRow, NoteBar
from borewright.core.heard import OTHER_CYLINDERS, STRENGTHS, Heard
from borewright.core.readiness_table import AIR_ON
from borewright.errors import UseError
from borewright.service import acts
from borewright.service.place_notes import Kept, checked_heard, keep_findings
from borewright.service.view_findings import Noted

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["Listening"]


class Listening(QObject):
    """Takes notes for the cylinder that is chosen. answered: it was said at which other cylinder, or that was given up."""

    answered = Signal()

    def __init__(self, desk: Desk, bar: NoteBar, row: NeighbourRow) -> None:
        super().__init__(bar)
        self._desk, self._bar, self._row = desk, bar, row
        self.cylinder = 0
        self._asked: tuple[str, str] | None = None
        self._known: set[int] | None = None
        self._made: list[int] = []
        self._taken_back: list[int] = []
        row.answered.connect(self._answer)
        row.dropped.connect(self._give_up)

    # ------------------------------------------------------------------ noting

    def note(self, place: str, strength: str) -> None:
        """So strong it is at this place; at other cylinders it is asked at which one, where there are several."""
        engine = self._desk.engine
        if engine is None or not place or not self.cylinder:
            return
        others = tuple(other for other in engine.cylinders if other != self.cylinder)
        if place not in OTHER_CYLINDERS or strength == "none":
            self._keep(place, strength, None)
        elif len(others) == 1:
            self._keep(place, strength, others[0])
        else:
            self._asked = place, strength
            self._bar.hide()  # the row takes its room, so that both are in view in a low window too
            self._row.ask(f"{place.replace('_', ' ')} {strength}", others)

    def _answer(self, other: int) -> None:
        asked, self._asked = self._asked, None
        self._put_away()
        if asked is not None:
            self._keep(*asked, other or None)
        self.answered.emit()

    def _give_up(self) -> None:
        self.give_up()
        self.answered.emit()

    def give_up(self) -> None:
        """It is not asked any more at which cylinder."""
        self._asked = None
        self._put_away()

    def _put_away(self) -> None:
        self._row.hide()
        self._bar.show()

    def _keep(self, place: str, strength: str, neighbour: int | None) -> None:
        engine, job = self._desk.engine, self._desk.job
        known = next((one for one in STRENGTHS if one == strength), None)
        if engine is None or job is None or known is None:
            return
        heard = Heard(place, known, neighbour)
        try:
            checked_heard(engine, self.cylinder, (heard,))
        except UseError as wrong:
            self._bar.say(str(wrong))
            return
        if self._air_is_on:
            self._desk.tell(acts.NoteHeard(place, known, neighbour))
            self._bar.say(f"kept with the test: {heard.words}")
        else:
            self._desk.write(keep_findings, job.id, self.cylinder, (heard,), None, (), self._desk.settings.who, then=self._kept)

    @property
    def _air_is_on(self) -> bool:
        """Whether there is air in this cylinder now, so that what is heard belongs to the test."""
        state = self._desk.snapshot.state
        capture = None if state is None else state.capture
        if state is None or capture is None or capture.purpose.kind != "test":
            return False
        return state.readiness.state in AIR_ON and capture.purpose.cylinder == self.cylinder

    def _kept(self, kept: tuple[Kept, ...]) -> None:
        self._bar.say(f"kept: {', '.join(one.words for one in kept)}")

    # ------------------------------------------------------------------ taking back

    def heed(self, noted: Noted) -> None:
        """Whatever was noted since the page looked first can be taken back, the newest first."""
        mine = {line.number for line in noted.lines if line.kind in ("heard", "note")}
        if self._known is not None:
            self._made += sorted(mine - self._known)
            if mine - self._known:
                self._taken_back = []
        self._known = mine if self._known is None else self._known | mine
        counting = {line.number for line in noted.lines if not line.dropped}
        self._made = [number for number in self._made if number in counting]
        self._taken_back = [number for number in self._taken_back if number not in counting]

    def forget(self) -> None:
        """Another job is open."""
        self._known, self._made, self._taken_back = None, [], []
        self.give_up()

    @property
    def may_undo(self) -> bool:
        """Whether there is something to take back."""
        return bool(self._made)

    @property
    def may_redo(self) -> bool:
        """Whether something was taken back."""
        return bool(self._taken_back)

    def take_back(self) -> int | None:
        """The number of the newest note, which is to be dropped."""
        if not self._made:
            return None
        number = self._made.pop()
        self._taken_back.append(number)
        return number

    def keep_after_all(self) -> int | None:
        """The number of the note that was taken back last, which is to count again."""
        if not self._taken_back:
            return None
        number = self._taken_back.pop()
        self._made.append(number)
        return number
