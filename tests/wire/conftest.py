"""The C codec is built once, whichever worker comes first."""

from __future__ import annotations

import pytest

from .c_codec import build


@pytest.fixture(scope="session")
def c_codec() -> None:
    """The native runner and fuzz program are there and current."""
    build("native")


@pytest.fixture(scope="session")
def sanitized_c_codec() -> None:
    """Those with AddressSanitizer and UndefinedBehaviorSanitizer are there and current."""
    build("sanitized")
