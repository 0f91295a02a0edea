"""A clock that was set back: what is said where the record holds what is later than now."""

from __future__ import annotations

from borewright.service.time_words import date_words

__all__ = ["SLACK_S", "set_back_words"]

SLACK_S = 3600.0  # two computers at one record, or an hour of summer time
LAST_DAY_UNIX_S = 253_402_000_000.0  # in the year 9999: dates go no further


def set_back_words(latest_unix_s: float | None, now_unix_s: float) -> str | None:
    """One sentence where this computer's clock is behind what the record holds already; None where all is well.

    >>> set_back_words(2000.0, 2100.0), set_back_words(None, 0.0), set_back_words(5000.0, 2000.0)
    (None, None, None)
    >>> str(set_back_words(1.8e9, 1.7e9)).startswith("this computer's clock says 2023-11-1")
    True
    """
    if latest_unix_s is None or latest_unix_s <= now_unix_s + SLACK_S:
        return None
    latest_unix_s = min(latest_unix_s, LAST_DAY_UNIX_S)
    return (
        f"this computer's clock says {date_words(now_unix_s)}, and the record holds what is dated {date_words(latest_unix_s)}: "
        "set the clock right, else what is dated now comes before it and checks look younger than they are"
    )
