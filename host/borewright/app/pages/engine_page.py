"""The engine page: an engine of the library in a form, its slider-crank and firing diagram beside it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from borewright.app.page import Page
from borewright.app.pages.engine_acts import EngineActs
from borewright.app.pages.engine_drawings import EngineDrawings
from borewright.app.pages.engine_form import EngineForm
from borewright.app.pages.engine_head import EngineHead
from borewright.app.pages.engine_library_panel import LibraryPanel
from borewright.app.pages.engine_model import EngineEdit, new_document
from borewright.app.pages.engine_question import QuestionBar
from borewright.errors import BorewrightError, UseError
from borewright.service.view_engine import (
    KeptEngine,
    engine_of,
    read_engine_file,
    remove_engine,
    restore_engine,
    save_engine,
    write_engine_file,
)

if TYPE_CHECKING:
    from pathlib import Path

    from borewright.app.desk import Desk

__all__ = ["EnginePage"]

_KINDS = "Engine files (*.toml);;All files (*)"
_NARROW_LETTERS = 165  # of an average letter: below this width form and drawings take turns


class _Body(QWidget):
    """All of the page. Its height does not follow from its width: else the window would make it as tall as the form would like."""

    def hasHeightForWidth(self) -> bool:
        """The form is scrolled in itself."""
        return False


class EnginePage(Page):
    """Edit an engine, look at it, keep it."""

    title: ClassVar[str] = "Engine"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.edit = EngineEdit(new_document(), unsaved=True)
        self._left: EngineEdit | None = None  # whose changes were undone
        self._begun = False
        self._turn = "values"
        self.library = LibraryPanel(desk)
        self.head = EngineHead()
        self.question = QuestionBar()
        self.form = EngineForm(self.edit, desk.units)
        self.drawings = EngineDrawings(desk.palette, desk.units)
        self.acts = EngineActs(
            save=self._save, begin=self._begin_job, copy=self._copy, undo=self._undo_changes, export=self._export
        )
        self._build()
        self.setFocusProxy(self.library.search)
        self.head.version_wanted.connect(self._open_version)
        self.head.turn_taken.connect(self._take_turn)
        self.library.wanted.connect(self._open)
        self.library.fresh.connect(self._begin_new)
        self.library.brought.connect(self._import)
        self.library.removal.connect(self._remove)
        self.library.return_.connect(self._bring_back)
        self.library.listed.connect(self._mark)
        self.form.edited.connect(self._show_state)
        desk.units_changed.connect(self._show_units)
        desk.look_changed.connect(self._show_look)
        desk.record_changed.connect(self._record_changed)
        self._show_edit(all_faults=False)

    def _build(self) -> None:
        below = QHBoxLayout()
        below.addWidget(self.form, 4)
        below.addWidget(self.drawings, 5)
        right = QVBoxLayout()
        right.addWidget(self.head)
        right.addWidget(self.question)
        right.addLayout(below, 1)
        right.addWidget(self.acts)
        body = _Body()
        row = QHBoxLayout(body)
        row.setContentsMargins(8, 8, 8, 8)
        row.addWidget(self.library, 2)
        row.addLayout(right, 7)
        page = QVBoxLayout(self)
        page.setContentsMargins(0, 0, 0, 0)
        page.addWidget(body)

    # ------------------------------------------------------------ showing

    def entered(self) -> None:
        """The library again; the first time, the engine of the open job, or the first there is."""
        self.library.ask()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Where there is no room for both, form and drawings take turns."""
        super().resizeEvent(event)
        self._lay_out()

    def _lay_out(self) -> None:
        both = self.width() >= _NARROW_LETTERS * self.fontMetrics().averageCharWidth()
        self.head.show_turn(self._turn, both=both)
        self.form.setVisible(both or self._turn == "values")
        self.drawings.setVisible(both or self._turn == "drawing")

    def _take_turn(self, turn: str) -> None:
        self._turn = turn
        self._lay_out()

    def _show_edit(self, *, all_faults: bool) -> None:
        """Another engine is in the form."""
        self._left = None
        self.form.show_edit(self.edit, self.desk.units, all_faults=all_faults)
        self.head.show_versions(self.edit)
        self._show_state()
        self._mark()

    def _show_state(self) -> None:
        self.head.show_state(self.edit)
        self.acts.show_edit(self.edit, undone=self._left is not None)
        self.drawings.show_engine(self.edit.engine, self.edit.document, self.desk.units)

    def _show_units(self) -> None:
        self.form.show_again(self.desk.units)
        self.library.show_units()
        self._show_state()

    def _show_look(self) -> None:
        self.drawings.show_palette(self.desk.palette)
        self.acts.lay_out()
        self._lay_out()

    def _record_changed(self) -> None:
        if self.isVisible():
            self.library.ask()

    def _mark(self) -> None:
        self.library.mark(None if self.edit.opened is None else self.edit.opened.name)
        if not self._begun and self.library.lines:
            self._begun = True
            if self.edit.opened is None and not self.edit.changed:
                names = [line.name for line in self.library.lines]
                of_job = self.desk.engine.name if self.desk.engine is not None else ""
                self._read(of_job if of_job in names else names[0])

    # ------------------------------------------------------------ opening

    def _unless_changed(self, go_on: Callable[[], None]) -> None:
        """Go on at once where nothing would be lost, else ask first, in place."""
        if not self.edit.changed:
            self.question.withdraw()
            go_on()
            return
        name = self.edit.name or "the new engine"
        self.question.ask(
            f"What you changed in {name} is not saved.",
            (
                ("Save it, then go on", lambda: self._save(then=go_on)),
                ("Go on without saving", go_on),
                ("Stay here", self._mark),
            ),
        )

    def _open(self, name: str) -> None:
        opened = self.edit.opened
        if opened is not None and opened.name == name and not self.edit.is_older:
            return
        self._unless_changed(partial(self._read, name))

    def _read(self, name: str, version: int | None = None) -> None:
        then = partial(self._opened, self.edit.document, version)
        self.desk.ask(engine_of, name, then=then, key="engine", words=f"opening {name}")

    def _opened(self, asked_at: dict[str, Any], number: int | None, kept: KeptEngine) -> None:
        self._arrived(asked_at, partial(self._take, number, kept))

    def _arrived(self, asked_at: dict[str, Any], go_on: Callable[[], None]) -> None:
        """What was asked for has come. asked_at: the form then; what was written into it since is not thrown away unasked."""
        if self.edit.document == asked_at:
            go_on()
        else:
            self._unless_changed(go_on)

    def _take(self, number: int | None, kept: KeptEngine) -> None:
        version = next((version for version in kept.versions if version.number == number), kept.newest)
        self._put(EngineEdit(version.document, opened=kept, version=version.number), all_faults=True)

    def _put(self, edit: EngineEdit, *, all_faults: bool) -> None:
        self.edit = edit
        self._begun = True
        self._show_edit(all_faults=all_faults)

    def _open_version(self, number: int) -> None:
        if self.edit.opened is not None:
            self._unless_changed(partial(self._read, self.edit.opened.name, number))

    def _begin_new(self) -> None:
        self._unless_changed(self._fresh)

    def _fresh(self) -> None:
        self._put(EngineEdit(new_document(), unsaved=True), all_faults=False)
        self._take_turn("values")
        self.form.rows["name"].editor.setFocus(Qt.FocusReason.OtherFocusReason)

    def _import(self) -> None:
        self._unless_changed(self._choose_file)

    def _choose_file(self) -> None:
        for path in self.desk.open_files("Import an engine file", _KINDS)[:1]:
            then = partial(self._file_read, self.edit.document, path)
            self.desk.ask(read_engine_file, path, then=then, key="engine file", words=f"reading {path.name}")

    def _file_read(self, asked_at: dict[str, Any], path: Path, document: dict[str, Any]) -> None:
        self._arrived(asked_at, partial(self._imported, path, document))

    def _imported(self, path: Path, document: dict[str, Any]) -> None:
        self._put(EngineEdit(document, unsaved=True), all_faults=True)
        self._take_turn("values")
        count = self.edit.faults.count
        wrong = f"; {count} {'thing' if count == 1 else 'things'} to mend first" if count else ""
        self.desk.notice("note", f"{path.name} is in the form; it is kept once you save it{wrong}")
        if count:
            self.form.show_all_faults()

    # ------------------------------------------------------------ keeping

    def _save(self, then: Callable[[], None] | None = None) -> None:
        self.question.withdraw()
        if self.edit.faults.count:
            self._take_turn("values")
            self.form.show_all_faults()
            self._show_state()
            return
        opened = self.edit.opened
        sent = self.edit.document
        self.desk.write(
            save_engine,
            sent,
            None if opened is None else opened.name,
            then=partial(self._saved, self.edit, sent, then),
            failed=self._not_saved,
        )

    def _saved(self, edit: EngineEdit, sent: dict[str, Any], then: Callable[[], None] | None, kept: KeptEngine) -> None:
        words = "; jobs go on with the version they were begun with" if len(kept.versions) > 1 else ""
        self.desk.notice("note", f"{kept.name} is kept as version {kept.newest.number}{words}")
        edit.was_kept(kept, sent)
        if self.edit is edit:
            self._left = None
            self.form.show_again(self.desk.units)
            self.head.show_versions(self.edit)
            self._show_state()
            self._mark()
        if then is not None:
            then()

    def _not_saved(self, error: BorewrightError) -> None:
        if isinstance(error, UseError):
            self._take_turn("values")
            self.form.refuse("name", str(error))
        else:
            self.desk.notice("alarm", str(error))

    def _copy(self) -> None:
        document = self.edit.document
        name = f"{self.edit.name[:74]}, copy" if self.edit.name else ""
        if name:
            document["name"] = name
        self._put(EngineEdit(document, unsaved=True), all_faults=True)
        self._take_turn("values")
        editor = self.form.rows["name"].editor
        editor.setFocus(Qt.FocusReason.ShortcutFocusReason)  # which selects the name, to be written over
        self.desk.notice("note", "This is a copy: give it its own name, then save it")

    def _undo_changes(self) -> None:
        if self._left is not None:
            self._put(self._left, all_faults=True)
            return
        changed, opened = self.edit, self.edit.opened
        if opened is None:
            self._put(EngineEdit(new_document(), unsaved=True), all_faults=False)
        else:
            self._take(changed.version, opened)
        self._left = changed
        self._show_state()

    def _export(self) -> None:
        if self.edit.faults.count:
            self._take_turn("values")
            self.form.show_all_faults()
            return
        plain = "".join(letter if letter.isalnum() else "_" for letter in self.edit.name.lower()).strip("_") or "engine"
        path = self.desk.save_as("Export the engine", f"{plain}.toml", _KINDS)
        if path is not None:
            self.desk.ask(write_engine_file, path, self.edit.document, then=self._exported, words=f"writing {path.name}")

    def _exported(self, path: Path) -> None:
        self.desk.notice("note", f"{self.edit.name} is written to {path}")

    # ------------------------------------------------------------ out of the library and back

    def _remove(self, name: str) -> None:
        self.desk.write(remove_engine, name, then=self._removed)

    def _removed(self, name: str) -> None:
        self._look_again_at(name)
        self.question.ask(
            f"{name} was taken out of the library. Jobs that used it keep it.",
            (("Bring it back", partial(self._bring_back, name)), ("Leave it out", self.question.withdraw)),
        )

    def _bring_back(self, name: str) -> None:
        self.question.withdraw()
        self.desk.write(restore_engine, name, then=self._returned)

    def _returned(self, name: str) -> None:
        self.desk.notice("note", f"{name} is back in the library")
        self._look_again_at(name)

    def _look_again_at(self, name: str) -> None:
        """The engine in the form went out of the library or came back: what was changed in the form stays."""
        if self.edit.opened is not None and self.edit.opened.name == name:
            self.desk.ask(engine_of, name, then=partial(self._know_again, self.edit), key="engine again")

    def _know_again(self, edit: EngineEdit, kept: KeptEngine) -> None:
        edit.opened = kept
        self._show_state()

    # ------------------------------------------------------------ a job

    def _begin_job(self) -> None:
        opened = self.edit.opened
        if opened is None:
            return
        if not self.edit.changed:
            self._to_jobs()
            return
        self.question.ask(
            f"What you changed in {self.edit.name or opened.name} is not saved; a job takes what is in the library.",
            (
                ("Save it and begin", lambda: self._save(then=self._to_jobs)),
                ("Begin with what is kept", self._to_jobs),
                ("Stay here", self._mark),
            ),
        )

    def _to_jobs(self) -> None:
        if self.edit.opened is not None:
            self.desk.chosen_engine = self.edit.opened.name
            self.desk.show_page("Jobs")
