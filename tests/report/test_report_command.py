"""borewright report: which job is meant, whose report it is, and that nothing is half written or written over."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest
from borewright.cli import exits
from borewright.cli.main import main

from .shop_record import add_test, engine, four_before_and_after, open_record, picture

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shop") / "shop.db"
    with open_record(path) as store:
        four_before_and_after(store)
        engine_id = store.save_engine("Larch four", engine())
        for name, stage in (("autumn", "routine"), ("mixed", "before"), ("mixed", "routine")):
            add_test(store, store.create_job(name, stage, engine_id), 1, 9.0)
        store.create_job("hill-climb 8", "after", store.save_engine("Larch six", engine(6) | {"name": "Larch six"}))
    return path


@pytest.fixture
def report(record: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    monkeypatch.setenv("APPDATA", str(tmp_path / "settings"))

    def run(*words: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main(["report", "--db", str(record), *map(str, words)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return run


def text_of(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def refused(ended: tuple[int, str, str], code: int) -> str:
    """The one sentence of a refusal."""
    said = re.fullmatch(r"borewright report: ([^\n]+)\n", ended[2])
    assert ended[:2] == (code, "")
    assert said is not None, ended
    return said[1]


def test_before_and_after_of_one_name_stand_in_one_report(report: Run, tmp_path: Path) -> None:
    out = tmp_path / "both.pdf"
    code, said, _ = report("hill-climb 7", "--out", out, "--json")
    assert code == exits.OK
    told = json.loads(said)
    assert [job["stage"] for job in told["jobs"]] == ["before", "after"]
    assert told["bytes"] == out.stat().st_size
    text = text_of(out)
    assert "page 1 of 2" in text
    assert "R. Holm <b> & Söhne" in text
    first = out.read_bytes()
    assert report("hill-climb 7", "--out", out, "--force")[0] == exits.OK
    assert out.read_bytes() == first  # the same record, the same octets
    assert [path.name for path in tmp_path.glob("*.part")] == []


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (("hill-climb 7", "--stage", "before"), "before"),
        (("autumn",), "routine"),
        (("hill-climb 7", "autumn", "--stage", "after"), "after) and autumn (routine"),
    ],
)
def test_other_stages_and_jobs(report: Run, tmp_path: Path, words: tuple[str, ...], shown: str) -> None:
    code, said, _ = report(*words, "--out", tmp_path / "one.pdf", "--page", "letter")
    assert code == exits.OK
    assert f"({shown})" in said
    box = pypdf.PdfReader(tmp_path / "one.pdf").pages[0].mediabox
    assert (float(box.width), float(box.height)) == (612.0, 792.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nobody",), "there is no job 'nobody'"),
        (("mixed",), "job 'mixed' has the stages before, routine; say which one with --stage"),
        (("hill-climb 7", "autumn"), "job 'hill-climb 7' has the stages before, after; say which one with --stage"),
        (("autumn", "autumn"), "cannot be held against itself"),
        (("autumn", "--limits", "nothing"), "nothing: the limits cannot be read"),
        (("autumn", "--shop", "two\nlines"), "--shop: must be one line"),
        (("autumn", "--logo", __file__), "it is no picture that can be read; give a PNG or JPEG file"),
        (("autumn", "--logo", "/nowhere/logo.png"), "the logo cannot be read (No such file or directory)"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_no_file(report: Run, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    assert said in refused(report(*words, "--out", tmp_path / "x.pdf"), exits.USE)
    assert list(tmp_path.glob("x.pdf*")) == []


def test_a_file_that_is_there_is_left_alone(report: Run, tmp_path: Path) -> None:
    out = tmp_path / "mine.pdf"
    out.write_text("mine")
    assert "was left alone" in refused(report("autumn", "--out", out), exits.USE)
    assert out.read_text() == "mine"


@pytest.mark.parametrize("name", ["no/such/folder/x.pdf", "file/x.pdf"])
def test_a_place_that_cannot_be_written_is_said(report: Run, tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("")
    code, out, said = report("autumn", "--out", tmp_path / name)
    assert (code, out) in ((exits.USE, ""), (exits.RECORD, ""))
    assert str(tmp_path / name) in said
    assert "Traceback" not in said


def test_a_shop_is_kept_shown_and_taken_away(report: Run, tmp_path: Path) -> None:
    logo = tmp_path / "logo.png"
    logo.write_bytes(picture(300, 90, "PNG"))
    kept = ("--shop", 'Alder "Lane" \\ Works', "--contact", "4 Alder Lane", "--logo", logo, "--keep-shop")
    assert report("autumn", "--out", tmp_path / "1.pdf", *kept)[0] == exits.OK
    logo.unlink()  # a copy was kept
    assert report("autumn", "--out", tmp_path / "2.pdf")[0] == exits.OK
    assert 'Alder "Lane" \\ Works 4 Alder Lane' in text_of(tmp_path / "2.pdf")
    assert len(list(pypdf.PdfReader(tmp_path / "2.pdf").pages[0].images)) == 1
    assert (tmp_path / "1.pdf").read_bytes() == (tmp_path / "2.pdf").read_bytes()
    assert report("autumn", "--out", tmp_path / "3.pdf", "--shop", "", "--keep-shop")[0] == exits.OK
    assert os.listdir(tmp_path / "settings" / "borewright") == []
    assert report("autumn", "--out", tmp_path / "4.pdf")[0] == exits.OK
    assert "Alder" not in text_of(tmp_path / "4.pdf")


def test_a_kept_shop_that_cannot_be_used_stops_no_report(report: Run, tmp_path: Path) -> None:
    folder = tmp_path / "settings" / "borewright"
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_text('name = "Alder Lane"\n')
    (folder / "shop.logo").write_bytes(b"no picture")
    code, _, notice = report("autumn", "--out", tmp_path / "1.pdf")
    assert code == exits.OK
    assert "no picture that can be read" in notice
    assert "Alder Lane" in text_of(tmp_path / "1.pdf")
    for number, text in enumerate(("name = 3\n", "x = " + "[" * 9000, "x = " + "9" * 5000), 2):
        (folder / "shop.toml").write_text(text)
        assert "not all of the shop's heading can be used" in report("autumn", "--out", tmp_path / f"{number}.pdf")[2]


@pytest.mark.parametrize("name", ["x.txt", "x", "pdf", "x.pdf.docx"])
def test_a_name_of_another_kind_of_file_is_refused(report: Run, tmp_path: Path, name: str) -> None:
    code, _, said = report("autumn", "--out", tmp_path / name)
    assert code == exits.USE
    assert "a report is written as PDF; give a name that ends in .pdf" in said
    assert not (tmp_path / name).exists()
