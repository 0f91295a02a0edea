"""borewright place where no rig is needed: notes and photos into the record, what cannot be is told and leaves nothing behind."""

from __future__ import annotations

import io
import json
import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest
from borewright.cli.main import main
from borewright.store import Store
from borewright.store.records import FindingRecord, Stage
from PIL import Image

ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"


@pytest.fixture
def db(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    with Store.open(path) as store:
        document = tomllib.loads(ENGINE.read_text(encoding="utf-8"))
        engine = store.save_engine(document["name"], document)
        stages: tuple[Stage, ...] = ("before", "after")
        for stage in stages:
            store.create_job("Larch", stage, engine)
    return path


def note(db: Path, *words: object) -> int:
    return main(["place", "note", "Larch", *map(str, words), "--db", str(db)])


def kept(db: Path, stage: Stage = "before") -> Sequence[FindingRecord]:
    with Store.open(db, create=False) as store:
        job = store.find_job("Larch", stage)
        assert job is not None
        return store.list_findings(job.id)


def _camera_photo(path: Path, size: tuple[int, int] = (3000, 1500)) -> None:
    """As a telephone makes one: lying on its side, with the place where it was taken."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "a camera"
    exif.get_ifd(0x8825)[2] = (52.0, 31.0, 12.0)
    Image.new("RGB", size, (120, 60, 30)).save(path, "JPEG", exif=exif)


# ---------------------------------------------------------------------- notes


@pytest.mark.parametrize(
    "words",
    [
        ("--stage", "before", "--cylinder", 3, "exhaust", "strong", "breather", "faint"),
        ("exhaust=strong", "breather=faint", "--stage", "before", "--cylinder", 3),
        ("exhaust", "strong", "--cylinder", 3, "breather", "faint", "--stage", "before"),
    ],
)
def test_words_stand_where_they_are_typed(db: Path, words: tuple[object, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert note(db, *words, "--who", "Ada") == 0
    findings = kept(db)
    first, second = (one.id for one in findings)
    assert f"exhaust strong (#{first}), breather faint (#{second})" in capsys.readouterr().out
    assert [(one.cylinder, one.kind, one.place, dict(one.detail), one.said_by) for one in findings] == [
        (3, "heard", "exhaust", {"strength": "strong"}, "Ada"),
        (3, "heard", "breather", {"strength": "faint"}, "Ada"),
    ]
    assert kept(db, "after") == ()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--cylinder", 3, "exhaust", "strong"), "--stage"),
        (("--stage", "before", "exhaust", "strong"), "--cylinder"),
        (("--stage", "before", "--cylinder", 9, "exhaust", "strong"), "no cylinder 9"),
        (("--stage", "before", "--cylinder", 3, "attic", "strong"), "attic is no place of this engine"),
        (("--stage", "before", "--cylinder", 3, "exhaust", "loud"), "how strong"),
        (("--stage", "before", "--cylinder", 3, "neighbours", "strong", "at", 3), "beside cylinder 3 there is no cylinder 3"),
        (("--stage", "before", "--cylinder", 3, "exhaust", "strong", "at", 2), "exhaust is no other cylinder"),
        (("--stage", "before", "--cylinder", 3), "say what was found"),
        (("--stage", "before", "--cylinder", 3, "--text", "two\nlines"), "one line"),
        (("--stage", "before", "--cylinder", 3, "--text", "\x1b[2J"), "can be printed"),
        (("--stage", "before", "--cylinder", 3, "exhaust", "strong", "--photo", "/nowhere/at.jpg"), "cannot be read"),
        (("--stage", "before", "--cylinder", 3, "exhaust", "strong", "--photo", ENGINE), "no JPEG or PNG photo"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_kept(
    db: Path, words: tuple[object, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert note(db, *words) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
    assert kept(db) == ()


def test_which_neighbour_was_heard_is_kept(db: Path) -> None:
    assert note(db, "--stage", "before", "--cylinder", 3, "neighbours", "strong", "at", "cylinder", 2, "exhaust=none") == 0
    assert [dict(one.detail) for one in kept(db)] == [{"strength": "strong", "neighbour": 2}, {"strength": "none"}]


# ---------------------------------------------------------------------- taken back


def test_what_is_dropped_counts_no_more_until_it_is_brought_back(db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert note(db, "--stage", "before", "--cylinder", 3, "exhaust", "strong") == 0
    assert note(db, "--stage", "before", "--cylinder", 3, "exhaust", "none") == 0
    first, second = kept(db)
    capsys.readouterr()
    assert main(["place", "drop", f"#{second.id}", "--reason", "the wrong cylinder", "--db", str(db)]) == 0
    said = capsys.readouterr().out
    assert f"dropped #{second.id} of Larch, before: cylinder 3, exhaust none" in said
    assert f"borewright place restore {second.id}" in said
    assert [one.id for one in kept(db)] == [first.id]
    assert main(["place", "show", "Larch", "--stage", "before", "--all", "--db", str(db)]) == 0
    shown = capsys.readouterr().out
    (row,) = [line for line in shown.splitlines() if line.startswith("  exhaust  ")]
    assert "strong" in row
    assert f"#{first.id}" in row
    assert f"#{second.id} cylinder 3, exhaust none; `borewright place restore {second.id}` brings it back" in shown
    assert main(["place", "restore", str(second.id), "--json", "--db", str(db)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["finding"], told["dropped"], told["words"]) == (second.id, False, "cylinder 3, exhaust none")
    assert [one.id for one in kept(db)] == [first.id, second.id]


def test_what_cannot_be_taken_back_is_told(db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def refused(*words: object, code: int = 2) -> str:
        assert main(["place", *map(str, words), "--db", str(db)]) == code
        told = capsys.readouterr().err
        assert told.count("\n") == 1
        return told

    assert note(db, "--stage", "before", "--cylinder", 3, "exhaust", "strong") == 0
    (finding,) = kept(db)
    assert "was not dropped: it counts" in refused("restore", finding.id)
    assert main(["place", "drop", str(finding.id), "--db", str(db)]) == 0
    assert f"was dropped before; `borewright place restore {finding.id}` brings it back" in refused("drop", finding.id)
    # the number of another record file is none of this one
    assert f"there is no finding {finding.id + 7}" in refused("drop", finding.id + 7, code=4)
    assert "--reason must be one line" in refused("drop", finding.id, "--reason", "x\ny")
    with Store.open(db, create=False) as store:
        store.delete_job(finding.job_id, "by mistake")
    assert "of the deleted job Larch" in refused("restore", finding.id)
    for number in ("x", "0", "²", "1.5", "9" * 30):
        with pytest.raises(SystemExit):
            main(["place", "drop", number, "--db", str(db)])
        assert "is no number of a finding" in capsys.readouterr().err


# ---------------------------------------------------------------------- photos


def test_a_photo_is_turned_upright_made_smaller_and_loses_where_it_was_taken(db: Path, tmp_path: Path) -> None:
    photo = tmp_path / "=valve.jpg"
    _camera_photo(photo)
    assert note(db, "--stage", "before", "--cylinder", 3, "exhaust", "strong", "--photo", photo) == 0
    with Store.open(db, create=False) as store:
        (finding,) = kept(db)
        (record,) = store.list_photos(finding.job_id)
        data = store.get_photo(record.id)
    assert (record.finding_id, record.media_type) == (finding.id, "image/jpeg")
    assert (record.width_px, record.height_px) == (1200, 2400)
    assert b"a camera" not in data
    with Image.open(io.BytesIO(data)) as again:
        assert dict(again.getexif()) == {}
        assert again.size == (1200, 2400)


def test_a_photo_of_the_whole_engine_has_a_note_of_its_own(db: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = tmp_path / "head.png"
    Image.new("RGBA", (40, 30), (1, 2, 3, 0)).save(photo)
    assert note(db, "--stage", "before", "--photo", photo, "--json") == 0
    (shown,) = json.loads(capsys.readouterr().out)["kept"]
    (finding,) = kept(db)
    assert (finding.cylinder, finding.kind, dict(finding.detail)) == (0, "note", {"text": "photo"})
    assert (shown["finding"], shown["photos"]) == (finding.id, ["head.png"])


@pytest.mark.parametrize("cut", [30, 400])
def test_half_a_photo_is_no_photo(db: Path, tmp_path: Path, cut: int, capsys: pytest.CaptureFixture[str]) -> None:
    photo = tmp_path / "half.jpg"
    _camera_photo(photo, (300, 200))
    photo.write_bytes(photo.read_bytes()[:cut])
    assert note(db, "--stage", "before", "--photo", photo) == 2
    assert "half.jpg" in capsys.readouterr().err
    assert kept(db) == ()


def test_a_picture_that_would_fill_the_memory_is_refused(db: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = tmp_path / "bomb.png"
    Image.new("1", (20_000, 20_000)).save(photo)
    assert photo.stat().st_size < 100_000
    assert note(db, "--stage", "before", "--photo", photo) == 2
    assert "bomb.png" in capsys.readouterr().err


# ---------------------------------------------------------------------- what is known without a rig


def test_what_may_not_be_stopped_is_said_before_a_rig_is_looked_for(db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = ["Larch", "--stage", "before", "--db", str(db), "--cylinder", "3", "--port", "/dev/no-such-rig"]
    assert main(["place", "stop-off", *where, "--stop", "exhaust"]) == 2
    assert "borewright place flow measures it (exhaust)" in capsys.readouterr().err
    assert main(["place", "stop-off", *where]) == 2
    assert "nothing may be stopped on this engine" in capsys.readouterr().err
    assert main(["place", "flow", *where, "--place", "breather", "--orifice-area", "2 mm^2"]) == 2
    assert "could bring the breather over its 5 kPa" in capsys.readouterr().err
    assert main(["place", "flow", *where, "--place", "outside", "--orifice-area", "20 mm^2"]) == 2
    assert "soapy water" in capsys.readouterr().err
    assert main(["place", "wet", *where, "--oil", "6 cm^3"]) == 2
    assert "hydraulic lock" in capsys.readouterr().err
    assert main(["place", "wet", *where, "--oil", "3 cm^3"]) == 2
    assert "no dry test of cylinder 3" in capsys.readouterr().err
