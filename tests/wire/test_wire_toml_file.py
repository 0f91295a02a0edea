"""TOML that is made to break its reader is refused in words, and soon."""

from __future__ import annotations

import time

import pytest
from borewire.engine_file import EngineFileError, parse_engine
from borewire.toml_file import DEEPEST, read_toml

PATIENCE_S = 5.0  # all of them together take half a second here
TOO_DEEP, TOO_MANY, TOO_LONG = "too deeply", "too many digits", "is longer than"
HOSTILE = {
    "brackets": ("x = " + "[" * 100_000, TOO_DEEP),
    "tables in each other": ("x = " + "{a = " * 20_000, TOO_DEEP),
    "closed brackets": (f"x = {'[' * 200}{']' * 200}", TOO_DEEP),
    "dotted key": ("a." * 20_000 + "a = 1", TOO_DEEP),
    "dotted key with blanks": ("a . " * 200_000 + "a = 1", TOO_DEEP),
    "dotted heading": (f"[{'a-b.' * 20_000}a]", TOO_DEEP),
    "digits": ("x = " + "9" * 5000, TOO_MANY),
    "digits of sixteen": ("x = 0x" + "f" * 5000, TOO_MANY),
    "long": ("#" * 2_000_000, TOO_LONG),
}


@pytest.mark.parametrize(("text", "said"), HOSTILE.values(), ids=HOSTILE)
def test_hostile_text_is_refused_in_one_sentence(text: str, said: str) -> None:
    begun_s = time.monotonic()
    with pytest.raises(EngineFileError, match=said) as refused:
        parse_engine(text, "odd.toml")
    assert len(str(refused.value)) < 200
    assert str(refused.value).isprintable()
    assert time.monotonic() - begun_s < PATIENCE_S


def test_what_is_deep_and_long_but_can_be_meant_is_read() -> None:
    assert read_toml(f"x = {'[' * (DEEPEST - 1)}{']' * (DEEPEST - 1)}").keys() == {"x"}
    sentence = "Bored 0.5 over. " * 1000
    assert read_toml(f'notes = "{sentence}"') == {"notes": sentence}


def test_a_byte_order_mark_before_the_text_is_skipped() -> None:
    assert read_toml(b"\xef\xbb\xbfbore_mm = 86".decode()) == {"bore_mm": 86}
