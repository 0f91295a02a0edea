"""Names and lines that a person gives on the command line: short, on one line, of characters that can be printed.

What else stands in them (slashes, signs of equality, letters of any script) is the person's business: the places where that would
do harm, a path or a cell of a spreadsheet, guard themselves.
"""

from __future__ import annotations

from borewright.errors import UseError

__all__ = ["LONGEST_LINE", "LONGEST_NAME", "checked_line", "checked_name"]

LONGEST_NAME = 80
LONGEST_LINE = 200


def checked_name(text: str, what: str, option: str) -> str:
    """The name of a thing without spaces around it. `what`: the thing, like "a job". Raises UseError that names the option.

    >>> checked_name(" hill-climb 7 ", "a job", "--job")
    'hill-climb 7'
    >>> checked_name("two\\nlines", "a job", "--job")
    Traceback (most recent call last):
    borewright.errors.UseError: a job has a name of 1 to 80 characters that can be printed; give another --job
    """
    name = text.strip()
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise UseError(f"{what} has a name of 1 to {LONGEST_NAME} characters that can be printed; give another {option}")
    return name


def checked_line(text: str, option: str, longest: int = LONGEST_LINE) -> str:
    """One line of text without spaces around it, which may be empty. Raises UseError that names the option.

    >>> checked_line(" Ada ", "--technician")
    'Ada'
    """
    line = text.strip()
    if len(line) > longest or not line.isprintable():
        raise UseError(f"{option} must be one line of at most {longest} characters that can be printed")
    return line
