"""Dates and ages as people say them."""

from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["NO_DATE", "age_words", "date_words"]

DAY_S = 86_400.0
NO_DATE = "no date that is"


def date_words(unix_s: float) -> str:
    """Seconds since 1970 as date and time of day where this computer stands; NO_DATE where no calendar has such a day.

    >>> date_words(3.0e11)
    'no date that is'
    """
    try:
        return datetime.fromtimestamp(unix_s, UTC).astimezone().isoformat(" ", "minutes")[:16]
    except (ValueError, OverflowError, OSError):  # a clock that was far off made it
        return NO_DATE


def age_words(seconds: float) -> str:
    """A time as people say it.

    >>> age_words(20.0), age_words(300.0), age_words(5400.0), age_words(10 * 86400.0)
    ('under a minute', '5 minutes', '1.5 hours', '10 days')
    """
    if seconds < 60.0:
        return "under a minute"
    if seconds < 3600.0:
        minutes = int(seconds // 60.0)
        return "1 minute" if minutes == 1 else f"{minutes} minutes"
    return f"{seconds / 3600.0:.1f} hours" if seconds < 2.0 * DAY_S else f"{seconds / DAY_S:.0f} days"
