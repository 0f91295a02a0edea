"""The library on the engine page: opened, searched, kept in versions, copied, removed and brought back, by what a person does."""

from __future__ import annotations

import tomllib
from pathlib import Path

from borewright.app.pages.engine_page import EnginePage
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from .engine_hand import FOUR, TWO, VECTORS, files, kept, make, names, open_engine, page, press, record, settle, shown, write

__all__ = ["make", "page", "record"]  # fixtures


def test_what_was_changed_is_asked_after_in_place_when_another_engine_is_opened(page: EnginePage) -> None:
    write(page, "bore_mm", "81")
    open_engine(page, "Aspen single")
    assert page.question.isVisible()
    assert page.edit.name == "Larch four"
    press(page, page.question.answers["Stay here"])
    assert not page.question.isVisible()
    assert page.library.names.currentItem().text().startswith("Larch four")
    assert page.edit.document["bore_mm"] == 81
    page.hide()  # another page is visited
    page.show()
    page.entered()
    settle(page)
    assert page.edit.document["bore_mm"] == 81
    open_engine(page, "Aspen single")
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Aspen single"
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81
    write(page, "bore_mm", "41")
    open_engine(page, "Larch four")
    press(page, page.question.answers["Go on without saving"])
    assert page.edit.name == "Larch four"
    assert kept(page, "Aspen single") == [TWO]


def test_what_is_written_while_another_engine_is_on_its_way_is_not_lost(page: EnginePage) -> None:
    page.library.names.setFocus()
    QTest.keyClick(page.library.names, Qt.Key.Key_Home)
    QTest.keyClick(page.library.names, Qt.Key.Key_Return)
    write(page, "bore_mm", "81")
    assert page.edit.document["bore_mm"] == 81
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Aspen single"
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81


def test_saving_first_what_has_a_fault_stays_at_the_fault(page: EnginePage) -> None:
    write(page, "bore_mm", "1")
    open_engine(page, "Aspen single")
    press(page, page.question.answers["Save it, then go on"])
    assert page.edit.name == "Larch four"
    assert page.form.rows["bore_mm"].editor.hasFocus()


def test_changes_that_were_undone_can_be_brought_back(page: EnginePage) -> None:
    write(page, "bore_mm", "81")
    press(page, page.acts.undo)
    assert page.edit.document == FOUR
    press(page, page.acts.undo)
    assert page.edit.document["bore_mm"] == 81


def test_an_engine_is_removed_and_brought_back_from_where_it_was_removed(page: EnginePage) -> None:
    page.library.names.setFocus()
    QTest.keyClick(page.library.names, Qt.Key.Key_Delete)
    settle(page)
    assert (names(page), names(page, removed=True)) == (["Aspen single"], ["Larch four"])
    assert "removed" in page.head.state.text()
    assert not page.acts.begin.isEnabled()
    press(page, page.question.answers["Bring it back"])
    assert names(page) == ["Aspen single", "Larch four"]
    assert page.head.state.text() == "✓ as it is kept"


def test_an_engine_that_was_removed_long_ago_is_found_among_those_that_were(page: EnginePage) -> None:
    press(page, page.library.remove)
    press(page, page.question.answers["Leave it out"])
    press(page, page.library.removed)
    assert [line.name for line in page.library.lines] == ["Larch four"]
    open_engine(page, "Larch four")
    press(page, page.library.remove)
    assert names(page) == ["Aspen single", "Larch four"]
    assert page.library.lines == ()


def test_the_library_is_searched_by_a_part_of_the_name(page: EnginePage) -> None:
    page.library.search.setFocus()
    QTest.keyClicks(page.library.search, "ASP")
    settle(page)
    assert [line.name for line in page.library.lines] == ["Aspen single"]
    QTest.keyClicks(page.library.search, "x")
    settle(page)
    assert page.library._empty.text() == "No engine has “ASPx” in its name."
    assert page.edit.name == "Larch four"


def test_an_older_version_is_opened_and_becomes_the_newest_by_saving(page: EnginePage) -> None:
    page.head.versions.setFocus()
    QTest.keyClick(page.head.versions, Qt.Key.Key_Down)
    settle(page)
    assert page.edit.document["bore_mm"] == 80.0
    assert page.head.state.text() == "version 1, not the newest"
    press(page, page.acts.save)
    assert [document["bore_mm"] for document in kept(page, "Larch four")] == [80.0, FOUR["bore_mm"], 80.0]


def test_a_copy_gets_a_name_of_its_own_and_a_name_that_is_taken_is_refused_at_its_field(page: EnginePage) -> None:
    press(page, page.acts.copy)
    editor = page.form.rows["name"].editor
    assert editor.hasFocus()
    QTest.keyClicks(editor, "Aspen single")  # over the name, which is selected
    QTest.keyClick(editor, Qt.Key.Key_Tab)
    press(page, page.acts.save)
    assert shown(page) == {"name": "⚠ another engine 'Aspen single' is in the library; give this one another name"}
    assert editor.hasFocus()
    write(page, "name", "Larch four, bored out")
    assert shown(page) == {}
    press(page, page.acts.save)
    assert kept(page, "Larch four, bored out") == [FOUR | {"name": "Larch four, bored out"}]
    assert kept(page, "Larch four")[-1] == FOUR


def test_a_file_with_faults_is_imported_mended_kept_and_exported(page: EnginePage, tmp_path: Path) -> None:
    path = tmp_path / "rowan.toml"
    path.write_text(
        (VECTORS / "engine_accept" / "inline_four.toml").read_text("utf-8") + "\n[maker_limit]\nx = 1\n", encoding="utf-8"
    )
    files(page).opened = [path]
    press(page, page.library._import)
    assert page.form._elsewhere.text() == "⚠ maker_limit: is not a key of an engine file; check the spelling"
    press(page, page.form._drop_unknown)
    write(page, "name", "Rowan")
    press(page, page.acts.save)
    wanted = FOUR | {"name": "Rowan"}
    assert kept(page, "Rowan") == [wanted]
    files(page).save_to = tmp_path / "out.toml"
    press(page, page.acts.export)
    assert tomllib.loads((tmp_path / "out.toml").read_text("utf-8")) == wanted


def test_a_file_that_is_no_toml_is_told_and_the_form_stays(page: EnginePage, tmp_path: Path) -> None:
    told: list[str] = []
    page.desk.noticed.connect(lambda _level, text: told.append(text))
    path = tmp_path / "not.toml"
    path.write_bytes(b"\x00\xff")
    files(page).opened = [path]
    press(page, page.library._import)
    assert ["not UTF-8" in text for text in told] == [True]
    assert page.edit.document == FOUR


def test_a_job_is_begun_with_the_engine_as_it_is_kept(page: EnginePage) -> None:
    asked: list[str] = []
    page.desk.page_asked.connect(asked.append)
    press(page, page.acts.begin)
    assert (page.desk.chosen_engine, asked) == ("Larch four", ["Jobs"])
    write(page, "bore_mm", "81")
    press(page, page.acts.begin)
    assert asked == ["Jobs"]
    press(page, page.question.answers["Save it and begin"])
    assert asked == ["Jobs", "Jobs"]
    assert kept(page, "Larch four")[-1]["bore_mm"] == 81
