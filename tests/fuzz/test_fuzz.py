"""Hostile octets: all that the search has kept, what is known to hurt readers, and what hypothesis makes of files."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from . import corpus
from .targets import SEEDS, TARGETS

PATIENCE_S = 5.0  # of CPU, for one of a megabyte; the slowest takes under one
SEED_TEXTS = {name: SEEDS[name]()[-1] for name in ("scenario", "engine", "limits", "rig_file", "calibration")}
KEYS = b"".join(b'k%d = "x"\n' % number for number in range(20_000))
HOSTILE = {
    "nothing": b"",
    "zeros": bytes(100_000),
    "no text": b"\xff\xfe" * 1000,
    "deep lists": b"x = " + b"[" * 200_000,
    "deep tables": b'{"a":' * 200_000,
    "a deep key": b"a." * 200_000 + b"a = 1",
    "many headings": b"".join(b"[t%d]\n" % number for number in range(20_000)),
    "many keys": KEYS,
    "many keys as JSON": b"{" + b",".join(b'"k%d":0' % number for number in range(30_000)) + b"}",
    "a long number": b"schema_version = " + b"9" * 900_000,
    "a long number as JSON": b'{"version": ' + b"9" * 900_000 + b"}",
    "a long text": b'name = "' + b"\\u001b[2J" * 90_000 + b'"',
    "a long key": b'"' + b"\\u001b[2J" * 90_000 + b'" = 1',
    "no number": b"schema_version = nan\nseed = -inf\n",
    "a day": b"schema_version = 1979-05-27T07:32:00Z\nname = 07:32:00\n",
    "one key often": b"name = 1\n" * 60_000,
    "longer than any": b"#" * 3_000_000,
}


@pytest.mark.parametrize("target", TARGETS)
def test_what_the_search_has_kept_breaks_nothing(target: str) -> None:
    inputs = corpus.kept(target)
    assert len(inputs) > 5
    for octets in inputs.values():
        TARGETS[target](octets)


def test_the_corpus_stays_small() -> None:
    assert sum(path.stat().st_size for path in Path(corpus.CORPUS).iterdir()) <= 300_000
    assert {path.stem for path in Path(corpus.CORPUS).iterdir()} == set(TARGETS)


@pytest.mark.parametrize("target", TARGETS)
def test_what_is_known_to_hurt_is_refused_soon(target: str) -> None:
    for name, octets in HOSTILE.items():
        begun_s = time.process_time()
        TARGETS[target](b"\1" + octets if target == "job_file" else octets)
        assert time.process_time() - begun_s < PATIENCE_S, name


@pytest.mark.parametrize("target", SEED_TEXTS)
@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(data=st.data())
def test_a_file_with_anything_in_the_place_of_anything_breaks_nothing(target: str, data: st.DataObject) -> None:
    text = SEED_TEXTS[target]
    words = [
        *(b"nan", b"-inf", b"1e999", b"-1e308", b"0", b"-0.0", b"1" * 400, b"true", b'""', b"[]", b"{}", b"1979-05-27"),
        *(b'"\\u001b[2J"', b'"../../x"', b'"/dev/zero"', b'"\\u0000"', b"[[1]]", b'"' + b"x" * 5000 + b'"'),
    ]
    for _ in range(data.draw(st.integers(1, 3))):
        lines = text.split(b"\n") if b"\n" in text else text.split(b",")
        at = data.draw(st.integers(0, len(lines) - 1))
        mark = b"=" if b"=" in lines[at] else b":"
        key, _, value = lines[at].partition(mark)
        lines[at] = key + mark + data.draw(st.sampled_from([*words, value]) | st.binary(max_size=20))
        text = (b"\n" if b"\n" in text else b",").join(lines)
    TARGETS[target](text)


@settings(max_examples=100)
@given(octets=st.binary(max_size=600))
def test_any_octets_at_all_break_no_reader(octets: bytes) -> None:
    for name in ("decoder", "scenario", "engine", "limits", "rig_file", "calibration"):
        TARGETS[name](octets)
