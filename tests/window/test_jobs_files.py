"""Jobs out into files and in from them: as the commands write and check them, with every refusal in the strip."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import pytest
from borewright.app.desk import Desk
from borewright.service.exporting import export_bytes
from borewright.store.store import Store

from .jobs_hand import JobsHand, at_page, hand, jobs_in

__all__ = ["at_page", "hand"]

NAME = "Larch hill-climb four"


def exported(hand: JobsHand, path: Path) -> bytes:
    """What an export through the page writes."""
    hand.act("export")
    hand.files.save_to = path
    hand.click(hand.page.export.buttons[path.suffix])
    hand.page.show_list()
    hand.look()
    return path.read_bytes()


@pytest.mark.parametrize("kind", [".csv", ".json", ".zip", ".npz"])
def test_every_kind_is_what_the_command_writes(hand: JobsHand, tmp_path: Path, kind: str) -> None:
    data = exported(hand, tmp_path / f"hillclimb{kind}")
    with Store.open(hand.desk.record, create=False) as store:
        assert data == export_bytes(store, sorted(store.list_jobs(), key=lambda job: job.id), kind)
    if kind == ".csv":
        lines = list(csv.DictReader(io.StringIO(data.decode())))
        assert {line["stage"] for line in lines} == {"before", "after"}
    elif kind == ".json":
        assert [job["stage"] for job in json.loads(data)["jobs"]] == ["before", "after"]


def test_an_export_that_is_given_up_writes_nothing(hand: JobsHand, tmp_path: Path) -> None:
    hand.act("export")
    hand.files.save_to = tmp_path / "hillclimb.zip"
    hand.page.export.buttons[".zip"].click()  # before the answer is looked at
    assert hand.said == "Making hillclimb.zip …"
    hand.answer("Give up")
    assert hand.said == "Making hillclimb.zip: given up, nothing was changed."
    assert list(tmp_path.glob("*.zip")) == []


def test_a_job_goes_out_and_into_another_record(
    hand: JobsHand, make_desk: Callable[..., Desk], at_page: Callable[[Desk], JobsHand], tmp_path: Path
) -> None:
    path = tmp_path / "hillclimb.zip"
    exported(hand, path)
    other = at_page(make_desk(tmp_path / "other.borewright"))
    assert other.lines == []
    other.files.opened = [path]
    other.click(other.page.list.take_in)
    assert other.lines == [(NAME, "after"), (NAME, "before")]
    assert other.said == f"Imported: {NAME}, before; {NAME}, after."
    other.act("compare")
    assert other.page.compare.words.text().startswith("Better: cylinders 1, 3.")


def test_the_same_job_does_not_come_in_twice(hand: JobsHand, tmp_path: Path) -> None:
    path = tmp_path / "hillclimb.zip"
    exported(hand, path)
    hand.files.opened = [path]
    hand.click(hand.page.list.take_in)
    assert hand.said == f"{NAME}, before; {NAME}, after: in the record already. Nothing was imported."
    assert len(jobs_in(hand.desk.record)) == 2


def test_a_name_that_is_taken_is_asked_for_anew(
    hand: JobsHand, make_desk: Callable[..., Desk], at_page: Callable[[Desk], JobsHand], tmp_path: Path
) -> None:
    path = tmp_path / "hillclimb.zip"
    exported(hand, path)
    record = tmp_path / "other.borewright"
    with Store.open(record) as store:
        store.create_job(NAME, "before", store.save_engine("another", {"name": "another"}))
    other = at_page(make_desk(record))
    other.files.opened = [path]
    other.click(other.page.list.take_in)
    assert other.said == f"Another job is called {NAME}, before here. Under what name is this one taken in?"
    other.type(other.page.strip.line, 81 * "x")
    other.answer("Yes, take it in")
    assert len(jobs_in(record)) == 1
    other.type(other.page.strip.line, "hill-climb, from the bench in the shed")
    other.answer("Yes, take it in")
    assert sorted(other.lines) == [
        (NAME, "before"),
        ("hill-climb, from the bench in the shed", "after"),
        ("hill-climb, from the bench in the shed", "before"),
    ]


def test_a_hostile_file_is_refused_with_its_sentence(hand: JobsHand, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    bad.write_bytes(b"PK\x03\x04 but no more")
    hand.files.opened = [bad]
    hand.click(hand.page.list.take_in)
    assert hand.said.startswith(f"✗ {bad}: this is no job file, or it is damaged")
    hostile = tmp_path / "hostile.zip"
    exported(hand, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as good, zipfile.ZipFile(hostile, "w") as made:
        for member in good.infolist():
            data = good.read(member)
            if member.filename == "job.json":
                document = json.loads(data)
                for job in document["jobs"]:
                    job["uid"] = job["uid"][::-1]
                    job["name"] = "two\nlines"
                data = json.dumps(document).encode()
            made.writestr(member.filename, data)
    hand.files.opened = [hostile]
    hand.click(hand.page.list.take_in)
    assert hand.said.startswith(f"✗ {hostile}: ")
    assert "\n" not in hand.said
    assert len(jobs_in(hand.desk.record)) == 2


def test_a_file_that_changes_after_it_was_looked_through_is_not_taken_in(
    hand: JobsHand, make_desk: Callable[..., Desk], at_page: Callable[[Desk], JobsHand], tmp_path: Path
) -> None:
    path, second = tmp_path / "hillclimb.zip", tmp_path / "second.zip"
    exported(hand, path)
    hand.act("export")
    hand.page.export.of.setCurrentIndex(1)
    hand.files.save_to = second
    hand.click(hand.page.export.buttons[".zip"])
    other = at_page(make_desk(tmp_path / "other.borewright"))
    other.files.opened = [path]
    with patch("borewright.app.pages.jobs_transfer.Transfers._looked") as looked:  # the person takes a while
        other.click(other.page.list.take_in)
    path.write_bytes(second.read_bytes())
    other.page.transfers._take_in(looked.call_args.args[0], "")
    other.look()
    assert other.said == f"✗ {path}: the file has changed since it was looked through; import it again"
    assert other.lines == []
