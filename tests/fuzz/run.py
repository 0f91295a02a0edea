"""Looks for octets that break a reader, guided by what they reach: `python tests/fuzz/run.py --seconds 60`

Needs atheris (`pip install -e ".[test,fuzz]"`), which there is not for every Python and system. Each target runs in a process of
its own, begins with the kept corpus and with files as people write them, and ends after its time. What reached something new is
kept in tests/fuzz/corpus, made small again; what broke something is kept there for good, and the tests try it again in every run.
Ends with 1 when something broke.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import corpus
from targets import SEEDS, TARGETS

THROW = Path(__file__).resolve().with_name("throw.py")
MOST_OCTETS = 40_000  # of a target's corpus, packed
LONGEST_INPUT = {"decoder": 2048, "calibration": 40_000, "job_file": 60_000}
PATIENCE_S = 20  # for one input; those that are slow on purpose take half a second
MEMORY_MB = 2048
WORD = re.compile(rb'"[^"\n]{1,40}"|[A-Za-z_][A-Za-z0-9_-]{2,40}')
HOSTILE_WORDS = [
    *(b"nan", b"inf", b"-inf", b"1e308", b"1e999", b"-0.0", b"0x7fffffffffffffff", b"9" * 400, b"true", b"false", b"null"),
    *(b"1979-05-27T07:32:00Z", b"1979-05-27", b"07:32:00", b"[[", b"]]", b"{}", b"[]", b"''", b'"""', b"'''", b"\\u001b"),
    *(b"\\ud800", b"../", b"/dev/zero", b"\\u0000", b"like = ", b"\xff", b"\xef\xbb\xbf", b"a.a.a.a.a.a = 1\n"),
]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--seconds", type=int, default=60, help="for each target (%(default)s)")
    parser.add_argument("--target", choices=TARGETS, action="append", help="only this one; may be given again")
    chosen = parser.parse_args()
    broke = [target for target in chosen.target or TARGETS if search(target, chosen.seconds)]
    print(f"broke: {', '.join(broke)}" if broke else "nothing broke", flush=True)
    return 1 if broke else 0


def search(target: str, seconds: int) -> bool:
    """One target for its time; gives whether something broke."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("found", "small", "broke"):
            (folder / part).mkdir()
        before = corpus.kept(target)
        for number, octets in enumerate([*SEEDS[target](), *before.values()]):
            (folder / "found" / f"{number}").write_bytes(octets)
        words = {*HOSTILE_WORDS, *(word for seed in SEEDS[target]() for word in WORD.findall(seed))}
        (folder / "words").write_text("".join(f'"{escaped(word)}"\n' for word in sorted(words)), encoding="ascii")
        common = [f"-max_len={LONGEST_INPUT.get(target, 8192)}", f"-timeout={PATIENCE_S}", f"-rss_limit_mb={MEMORY_MB}"]
        common.append(f"-artifact_prefix={folder}/broke/")
        search_words = [f"-max_total_time={seconds}", f"-dict={folder}/words", "-reload=0"]
        looked = call(folder, target, *search_words, *common, str(folder / "found"))
        call(folder, target, "-merge=1", *common, str(folder / "small"), str(folder / "found"))
        broke = [path.read_bytes() for path in sorted((folder / "broke").iterdir()) if not path.name.startswith("slow-unit")]
        old = [octets for name, octets in before.items() if name.startswith(corpus.FIND)]
        small = [path.read_bytes() for path in (folder / "small").iterdir()]
        count = corpus.keep(target, [*old, *broke], small or before.values(), MOST_OCTETS)
    if "DONE" not in looked and not broke:
        raise RuntimeError(f"atheris did not run: {looked[-2000:]}")
    runs = re.findall(r"stat::number_of_executed_units: (\d+)", looked)
    print(f"{target}: {runs[-1] if runs else '?'} runs, {count} inputs kept, {len(broke)} finds", flush=True)
    if broke:
        print(looked[looked.find("Traceback") if "Traceback" in looked else -4000 :][:6000], flush=True)
    return bool(broke)


def escaped(word: bytes) -> str:
    return "".join(chr(octet) if 32 <= octet < 127 and chr(octet) not in '"\\' else f"\\x{octet:02x}" for octet in word)


def call(folder: Path, target: str, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, str(THROW), target, "-print_final_stats=1", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
        env=os.environ | {"TMPDIR": str(folder)},
    )
    return done.stdout.decode(errors="replace")


if __name__ == "__main__":
    sys.exit(main())
