"""Names that are commands, formulas, markup or paths: made harmless in every output, and still the names that they are."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from borewright.cli.curves_svg import curves_svg
from borewright.core.plain_text import printable
from borewright.errors import UseError
from borewright.service.comparing import JobComparison
from borewright.service.names import checked_line, checked_name
from borewright.service.shown_units import ShownUnits
from borewright.store import Store
from borewright.store.export import csv_text, guarded
from borewright.store.job_file import save_new
from hypothesis import given
from hypothesis import strategies as st

HOSTILE = [
    *("=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1", " =1", "\u200b=1", "\ufeff-1", "\uff1d1", '=cmd|" /C calc"!A0', "-2+3"),
    *("\x1b[2J", "\x1b]0;x\x07", "\x9b2J", "\x08\x08", "\u202etxt", "\x00", "\x7f"),
    *("<b>x</b>", "<img src=x>", "&amp;", "]]>", "--><svg/onload=x>", '"quoted"', "it's", "a,b;c", "'; DROP TABLE jobs; --"),
    *("../../x", "/etc/passwd", "a/b", "C:\\x", "x" * 300, "%s%n", "{0}", "${HOME}", "$(id)", "`id`"),
]
TEXTS = st.sampled_from(HOSTILE) | st.text(max_size=40)
FORMULA = re.compile(r"^[\s\x00-\x20\u200b\ufeff]*[=+\-@\uff1d\uff0b\uff0d\uff20]|^[\t\r\n]")


@given(st.lists(TEXTS, min_size=1, max_size=6))
def test_no_cell_of_text_is_a_formula_and_none_is_lost(texts: list[str]) -> None:
    table = csv_text((texts, [texts]))
    lines = list(csv.reader(io.StringIO(table, newline="")))
    for line in lines:
        assert not any(FORMULA.match(cell) for cell in line)
        assert [cell.removeprefix("'") for cell in line] == [text.removeprefix("'") for text in texts]


@given(st.floats(allow_nan=False, allow_infinity=False) | st.integers())
def test_numbers_stay_numbers_also_negative_ones(number: float | int) -> None:
    assert guarded(number) == number
    ((cell,),) = csv.reader(io.StringIO(csv_text((["n"], [[number]])).splitlines()[1]))
    assert (int(cell) if isinstance(number, int) else float(cell)) == number


@given(TEXTS)
def test_a_name_is_taken_as_it_is_or_refused_in_one_sentence(text: str) -> None:
    for check in (lambda: checked_name(text, "a job", "name"), lambda: checked_line(text, "--customer")):
        try:
            assert check().isprintable()
        except UseError as refused:
            assert str(refused).isprintable()  # noqa: PT017 -- most are taken


@given(st.lists(TEXTS, min_size=4, max_size=4))
def test_a_drawing_holds_names_as_text(texts: list[str]) -> None:
    class Named:
        engine_name, name, stage = texts[0], texts[1], texts[2]

    class Compared(JobComparison):
        def __init__(self) -> None:
            object.__setattr__(self, "before", Named)
            object.__setattr__(self, "after", Named)

    drawing = curves_svg(Compared(), [], ShownUnits({}))
    (words,) = [element.text for element in ET.fromstring(drawing).iter() if element.tag.endswith("text")]
    assert words is not None
    assert printable(texts[1]) in words
    assert {element.tag.rpartition("}")[2] for element in ET.fromstring(drawing).iter()} <= {"svg", "rect", "text", "polyline"}


PRINT = """
import sys
from borewright.cli import main
from borewright.cli.output import print_json
with main._letters_only():
    for text in {texts!r}:
        print("rig", text)
        print("rig", text, file=sys.stderr)
    print_json({texts!r})
print("after")
"""


def test_nothing_that_is_printed_commands_a_terminal_and_json_stays_json(tmp_path: Path) -> None:
    script = tmp_path / "prints.py"
    script.write_text(PRINT.format(texts=HOSTILE), encoding="utf-8")
    done = subprocess.run([sys.executable, "-X", "utf8", str(script)], capture_output=True, check=True, timeout=60)
    for said in (done.stdout.decode(), done.stderr.decode()):
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said)
        assert "rig \\u001b[2J" in said
    assert json.loads(done.stdout.decode().splitlines()[-2]) == HOSTILE


def test_a_record_keeps_any_name_as_it_is(tmp_path: Path) -> None:
    names = [text for text in HOSTILE if "\x00" not in text]
    with Store.open(tmp_path / "shop.db") as store:
        engine = store.save_engine("four", {})
        for name in names:
            store.create_job(name, "before", engine, name, name)
        assert [job.name for job in store.list_jobs()] == names
        assert [store.find_job(name, "before") is not None for name in names] == [True] * len(names)
        for name in names:
            store.list_jobs(search=name)


@pytest.mark.parametrize("kind", ["device", "folder", "pipe", "link to a device", "link to a record", "record"])
def test_what_is_no_plain_file_is_never_written_over(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "out.csv"
    record = tmp_path / "shop.db"
    Store.open(record).close()
    was = record.read_bytes()
    match kind:
        case "device":
            path = Path("/dev/null")
        case "folder":
            path.mkdir()
        case "pipe":
            os.mkfifo(path)
        case "link to a device":
            path.symlink_to("/dev/null")
        case "link to a record":
            path.symlink_to(record)
        case "record":
            path = record
    for replace in (False, True):
        with pytest.raises(UseError):
            save_new(path, b"x", replace=replace)
    assert record.read_bytes() == was
    assert np.all([not name.name.endswith(".part") for name in tmp_path.iterdir()])
