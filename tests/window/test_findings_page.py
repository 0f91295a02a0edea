"""The findings page by keys and clicks, on the record alone: notes, undo, photos, what is shown of each engine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from borewright.app.desk import Desk
from borewright.app.settings import Settings
from borewright.core.heard import Heard
from borewright.core.place_meaning import place_words
from borewright.service.place_notes import keep_findings
from PIL import Image
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from .findings_hand import FindingsHand, job_in

CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier


@pytest.fixture
def at_page(make_desk: Callable[..., Desk], tmp_path: Path) -> Iterator[Callable[..., FindingsHand]]:
    """Opens the page on a new job of a scenario's engine."""
    hands: list[FindingsHand] = []

    def open_page(scenario: str = "hillclimb-before", change: dict[str, object] | None = None, **look: object) -> FindingsHand:
        record = tmp_path / "new.borewright"
        job = job_in(record, scenario, change)
        hand = FindingsHand(make_desk(record, settings=Settings(who="Ada", **({"theme": "light"} | look))))  # type: ignore[arg-type]
        hands.append(hand)
        hand.open_job(job)
        return hand

    yield open_page
    for hand in hands:
        hand.close()


@pytest.fixture
def hand(at_page: Callable[..., FindingsHand]) -> FindingsHand:
    """At a four-cylinder engine, nothing found yet."""
    return at_page()


# ---------------------------------------------------------------------- notes


@pytest.mark.parametrize(
    ("key", "strength"),
    [
        ("0", "none"),
        ("1", "faint"),
        ("2", "steady"),
        ("3", "strong"),
        ("n", "none"),
        ("f", "faint"),
        ("s", "steady"),
        ("t", "strong"),
    ],
)
def test_a_key_at_a_place_is_a_note(hand: FindingsHand, key: str, strength: str) -> None:
    hand.page.setFocus()
    hand.key("3")  # nothing is chosen yet, so a digit is a cylinder
    assert hand.page.cylinder == 3
    hand.key("e")
    hand.key(key)
    assert hand.heard() == [(3, "exhaust", strength, None)]
    assert (hand.findings()[0].said_by, hand.page.section.button("exhaust").accessibleName()) == ("Ada", f"exhaust: {strength}")
    assert hand.page.cylinder == 3
    assert f"exhaust {strength}" in hand.page.bar.said


def test_a_click_on_the_label_or_in_the_sketch_chooses_and_a_button_notes(hand: FindingsHand) -> None:
    hand.click(hand.page.strip.buttons[2])
    hand.click(hand.page.section.button("breather"))
    hand.click(hand.page.bar.buttons["steady"])
    layout = hand.page.section.arrangement
    assert layout is not None
    hand.click_at(hand.page.section, *layout.at((14.0, 73.0)))  # the end of the intake pipe
    assert hand.page.section.place == "intake"
    hand.click(hand.page.bar.buttons["none"])
    assert hand.heard() == [(2, "breather", "steady", None), (2, "intake", "none", None)]


def test_arrows_and_tab_go_from_place_to_place(hand: FindingsHand) -> None:
    places = hand.desk.engine.places if hand.desk.engine is not None else ()
    hand.page.section.button(places[0]).setFocus()
    for place in places[1:]:
        hand.key(Qt.Key.Key_Down)
        assert hand.page.section.place == place
    hand.key(Qt.Key.Key_Right)
    assert hand.page.section.place == places[0]
    hand.key(Qt.Key.Key_Tab)
    assert hand.page.section.place == places[1]


def test_at_a_neighbour_it_is_asked_at_which_one(hand: FindingsHand) -> None:
    hand.click(hand.page.strip.buttons[3])
    hand.page.setFocus()
    hand.key("h")
    hand.key("3")
    assert hand.heard() == []
    assert hand.page.neighbours.isVisible()
    assert not hand.page.bar.isVisible()
    hand.key("2")
    assert hand.heard() == [(3, "neighbours", "strong", 2)]
    assert hand.page.section.button("neighbours").accessibleName() == "neighbours: strong at 2"
    assert not hand.page.neighbours.isVisible()
    hand.key("2")  # the place has the keys again
    hand.key(Qt.Key.Key_Return)  # nobody can say
    assert hand.heard()[-1] == (3, "neighbours", "steady", None)
    hand.key("1")
    hand.key(Qt.Key.Key_Backspace)  # thought better of it
    assert len(hand.heard()) == 2
    hand.key("0")  # none needs no number
    assert hand.heard()[-1] == (3, "neighbours", "none", None)


def test_undo_drops_what_was_noted_here_and_redo_brings_it_back(hand: FindingsHand) -> None:
    hand.page.setFocus()
    hand.key("e")
    hand.key("3")
    hand.key("1")
    hand.key(Qt.Key.Key_Z, CTRL)
    assert hand.heard() == [(1, "exhaust", "strong", None)]
    assert hand.page.section.button("exhaust").mark.strength == "strong"
    hand.click(hand.page.bar.redo)
    assert hand.heard()[-1] == (1, "exhaust", "faint", None)
    hand.click(hand.page.bar.undo)
    hand.click(hand.page.bar.undo)
    assert hand.heard() == []
    assert not hand.page.bar.undo.isEnabled()
    hand.key(Qt.Key.Key_Z, CTRL | SHIFT)
    assert hand.heard() == [(1, "exhaust", "strong", None)]
    assert len(hand.findings(dropped=True)) == 2  # nothing is ever removed


def test_a_finding_is_dropped_from_the_list_and_brought_back(hand: FindingsHand) -> None:
    hand.page.setFocus()
    hand.key("i")
    hand.key("2")
    hand.tab(hand.page.notes)
    panel = hand.page.notes
    where = panel.list.visualItemRect(panel.list.item(0)).center()
    QTest.mouseClick(panel.list.viewport(), Qt.MouseButton.LeftButton, pos=where)
    hand.click(panel.drop)
    assert hand.heard() == []
    assert "dropped: intake steady" in panel.list.item(0).text()
    assert hand.page.section.button("intake").mark.strength == ""
    hand.click(panel.restore)
    assert hand.heard() == [(1, "intake", "steady", None)]
    panel.list.setFocus()
    hand.key(Qt.Key.Key_Delete)
    assert hand.heard() == []


def test_a_note_in_ones_own_words_for_the_cylinder_and_for_the_engine(hand: FindingsHand) -> None:
    hand.tab(hand.page.notes)
    hand.type("a note in your own words", "seat looks burnt at one edge")
    hand.key(Qt.Key.Key_Return)
    hand.click(hand.page.notes.whole)
    hand.type("a note in your own words", "  run hot last season ")
    hand.click(hand.page.notes.keep)
    assert [(one.cylinder, one.detail["text"]) for one in hand.findings()] == [
        (1, "seat looks burnt at one edge"),
        (0, "run hot last season"),
    ]
    assert "run hot last season" in hand.page.notes.list.item(0).text()
    hand.type("a note in your own words", "   ")
    hand.click(hand.page.notes.keep)
    assert "1 to 2000 characters" in hand.page.notes.wrong
    assert len(hand.findings()) == 2


# ---------------------------------------------------------------------- photos


def test_a_photo_is_kept_shown_small_and_opens_large(hand: FindingsHand, tmp_path: Path) -> None:
    good = tmp_path / "valve.jpg"
    Image.new("RGB", (3000, 1500), (120, 60, 30)).save(good)
    hand.tab(hand.page.notes)
    hand.files.opened = [good]
    hand.click(hand.page.notes.photo)
    (finding,) = hand.findings()
    assert (finding.cylinder, finding.kind, finding.detail["text"]) == (1, "note", "photo")
    (thumb,) = hand.page.notes.strip.buttons.values()
    assert not thumb.icon().isNull()
    hand.click(thumb)
    assert hand.page.large.isVisible()
    picture = hand.page.large.picture
    assert picture is not None
    assert (picture.width(), picture.height()) == (1600, 800)
    assert "valve.jpg, photo 1 of 1" in hand.page.large.words
    hand.key(Qt.Key.Key_Backspace)
    assert not hand.page.large.isVisible()
    assert hand.page.notes.isVisible()


def test_a_photo_goes_to_the_finding_that_is_chosen(hand: FindingsHand, tmp_path: Path) -> None:
    good = tmp_path / "port.png"
    Image.new("RGB", (40, 30), (1, 2, 3)).save(good)
    hand.page.setFocus()
    hand.key("e")
    hand.key("3")
    hand.tab(hand.page.notes)
    hand.page.notes.list.setCurrentRow(0)
    hand.files.opened = [good, good]
    hand.click(hand.page.notes.photo)
    (finding,) = hand.findings()
    assert "2 photos" in hand.page.notes.list.item(0).text()
    assert len(hand.page.notes.strip.buttons) == 2
    assert finding.kind == "heard"


def test_what_is_no_photo_or_would_fill_the_memory_is_refused_and_the_good_one_is_kept(hand: FindingsHand, tmp_path: Path) -> None:
    bad, huge, half, good = (tmp_path / name for name in ("words.jpg", "bomb.png", "half.jpg", "good.jpg"))
    bad.write_text("not a picture", encoding="utf-8")
    Image.new("1", (20_000, 20_000)).save(huge)
    Image.new("RGB", (300, 200), (9, 9, 9)).save(good)
    half.write_bytes(good.read_bytes()[:400])
    hand.tab(hand.page.notes)
    for path, said in ((bad, "words.jpg: this is no JPEG or PNG photo"), (huge, "bomb.png"), (half, "half.jpg")):
        hand.files.opened = [path]
        hand.click(hand.page.notes.photo)
        assert said in hand.page.notes.wrong
        assert hand.findings() == []
    hand.files.opened = [bad, good]
    hand.click(hand.page.notes.photo)
    assert "words.jpg" in hand.page.notes.wrong
    assert len(hand.findings()) == 1
    hand.files.opened = [good] * 13
    hand.click(hand.page.notes.photo)
    assert "13 photos are too many at once" in hand.page.notes.wrong
    assert len(hand.findings()) == 1


# ---------------------------------------------------------------------- engines


@pytest.mark.parametrize(
    ("scenario", "places"),
    [
        ("hillclimb-before", ("intake", "exhaust", "breather", "coolant", "neighbours", "outside")),
        ("short-block", ("breather", "coolant", "neighbours", "outside")),
        ("two-stroke-single", ("exhaust_port", "crankcase", "outside")),
    ],
)
def test_each_engine_has_its_own_places_and_says_what_they_mean(
    at_page: Callable[..., FindingsHand], scenario: str, places: tuple[str, ...]
) -> None:
    hand = at_page(scenario)
    shown = {place: hand.page.section.button(place) for place in places}
    assert hand.desk.engine is not None
    assert set(hand.desk.engine.places) == set(shown)
    for place, button in shown.items():
        hand.click(button)
        said = hand.page.place.words
        assert said.lower().startswith(place_words(place))
        for heading in ("Where and how to look", "What only looks like it", "Stopping it, measuring it"):
            assert heading in said
        assert f"Air at the {place_words(place)}" in hand.seen(hand.page.bar)


def test_where_nothing_may_be_stopped_it_says_why(hand: FindingsHand) -> None:
    hand.tab(hand.page.tests)
    hand.click(hand.page.tests.kinds["stop"])
    said = hand.seen(hand.page.tests)
    assert "Nothing may be stopped on this engine" in said
    assert "Breather: the crankcase may have 5 kPa only" in said
    assert "Neighbours: a neighbouring cylinder is never stopped" in said


def test_a_wet_dose_over_the_limit_or_without_a_dry_test_is_refused_with_its_sentence(hand: FindingsHand) -> None:
    hand.desk.station.turn()
    hand.until(lambda: hand.desk.snapshot.link.kind == "open")
    hand.tab(hand.page.tests)
    hand.click(hand.page.tests.kinds["wet"])
    for dose, said in (
        ("6", "6 cm³ of oil are not put into this engine; 3.9 cm³ at most"),
        ("0", "a wet test needs some oil"),
        ("", "the dose: type a figure, in cm³"),
        ("a lot", "the dose:"),
        ("0.2 in^3", "there is no dry test of cylinder 1 in this job yet"),
    ):
        hand.type("Dose, measured with a syringe", dose)
        hand.click(hand.page.tests.begin)
        assert said in hand.page.tests.wrong
    assert hand.page.tests.course is None
    assert hand.cautions == []


# ---------------------------------------------------------------------- where it goes


def test_shares_are_bars_with_intervals_and_the_next_steps_are_reasoned(make_desk: Callable[..., Desk], shop_record: Path) -> None:
    hand = FindingsHand(make_desk(shop_record))
    hand.open_job(1)
    hand.page.choose_cylinder(3)
    hand.look()
    hand.tab(hand.page.where)
    said = hand.page.where.words
    assert "● Decided" in said
    assert "Exhaust leaks most" in said
    assert "exhaust: 6" in said  # the bar, for a screen reader
    assert "the most, decided" in said
    assert "nobody's: " in said
    assert "The evidence points to it: open the cylinder head" in said
    assert "Not told apart" in said
    assert "of the leak" in hand.page.section.button("exhaust").accessibleName()
    hand.click(hand.page.strip.buttons[2])
    assert "No test of this cylinder yet" in hand.page.where.words
    hand.close()


def test_what_changed_while_the_page_was_away_is_there_when_it_comes_back(hand: FindingsHand) -> None:
    hand.page.setFocus()
    hand.key("e")
    hand.whole.hide()
    assert hand.desk.job is not None
    hand.desk.write(keep_findings, hand.desk.job.id, 1, (Heard("intake", "strong"),), None, (), "Ben")
    hand.look()
    assert hand.page.section.button("intake").mark.strength == ""
    hand.whole.show()
    hand.look()
    assert hand.page.section.button("intake").mark.strength == "strong"


# ---------------------------------------------------------------------- looks


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height", "scale"), [(960, 540, 100), (1280, 800, 100), (1280, 800, 150)])
def test_no_control_is_cut_off_and_no_label_lies_over_another(
    at_page: Callable[..., FindingsHand], theme: str, width: int, height: int, scale: int
) -> None:
    hand = at_page("hillclimb-before", theme=theme, scale_percent=scale)
    hand.whole.resize(width, max(height, hand.whole.minimumSizeHint().height()))
    hand.look()
    for panel in (hand.page.place, hand.page.tests, hand.page.notes, hand.page.where):
        hand.tab(panel)
        buttons = [one for one in hand.page.findChildren(type(hand.page.bar.undo)) if one.isVisible()]
        for button in buttons:
            wanted = button.fontMetrics().horizontalAdvance(button.text().replace("&", ""))
            assert button.width() >= wanted, button.text()
    labels = [hand.page.section.button(place) for place in (hand.desk.engine.places if hand.desk.engine else ())]
    boxes = [one.geometry() for one in labels]
    for k, box in enumerate(boxes):
        assert hand.page.section.rect().contains(box), labels[k].place
        assert not any(box.intersects(other) for other in boxes[k + 1 :]), labels[k].place


def test_a_letter_typed_into_a_field_is_no_place(hand: FindingsHand) -> None:
    hand.tab(hand.page.notes)
    hand.type("a note in your own words", "3e")
    assert hand.page.cylinder == 1
    assert hand.page.section.place == ""
    assert hand.heard() == []
