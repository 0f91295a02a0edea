"""What a job knows of the day comes back as it was said, and what is no detail is refused by its key."""

from __future__ import annotations

import json
from typing import Any

import pytest
from borewright.core.job_details import JobDetails
from hypothesis import given
from hypothesis import strategies as st

WORDS = st.text(st.characters(categories=("L", "N", "S")), max_size=40)
TEMPERATURES = st.none() | st.floats(223.15, 473.15)


@given(
    st.builds(
        JobDetails,
        hours=WORDS,
        distance=WORDS,
        engine_temperature_k=TEMPERATURES,
        oil_temperature_k=TEMPERATURES,
        hot=st.booleans(),
        compression_gauge_pa=st.dictionaries(st.integers(1, 24), st.floats(0.0, 20e6), max_size=4),
        text=WORDS,
    )
)
def test_details_come_back_through_json(details: JobDetails) -> None:
    assert JobDetails.from_dict(json.loads(json.dumps(details.as_dict()))) == details


def test_a_job_of_which_nothing_was_said_keeps_nothing() -> None:
    assert JobDetails.from_dict({}).as_dict() == {}


@pytest.mark.parametrize(
    ("kept", "key"),
    [
        ({"hour": "12"}, "hour"),
        ({"hours": 12}, "hours"),
        ({"hours": "12\x1b[2J"}, "hours"),
        ({"text": "x" * 2001}, "text"),
        ({"hot": "yes"}, "hot"),
        ({"engine_temperature_k": True}, "engine_temperature_k"),
        ({"oil_temperature_k": float("nan")}, "oil_temperature_k"),
        ({"oil_temperature_k": 95.0}, "oil_temperature_k"),
        ({"compression_gauge_pa": [1e6]}, "compression_gauge_pa"),
        ({"compression_gauge_pa": {"0": 1e6}}, "compression_gauge_pa.0"),
        ({"compression_gauge_pa": {"1": -1.0}}, "compression_gauge_pa.1"),
        ({"\x1b": 1}, r"\?"),
    ],
)
def test_what_is_no_detail_is_refused_by_its_key(kept: dict[str, Any], key: str) -> None:
    with pytest.raises(ValueError, match=f"^{key}: "):
        JobDetails.from_dict(kept)
