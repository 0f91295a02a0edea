"""Which tests of a job count: a reading declared from elsewhere stands in only where its cylinder was not tested."""

from __future__ import annotations

from collections.abc import Iterable

from borewright.store.records import CaptureRecord

__all__ = ["counting", "is_declared", "unused_by_test", "unused_words"]


def is_declared(capture: CaptureRecord) -> bool:
    """Whether a person declared the whole reading; a measured test with one thing declared has its rig's serial number."""
    return bool(capture.declared) and capture.device_serial == ""


def counting(captures: Iterable[CaptureRecord]) -> list[CaptureRecord]:
    """The complete plain tests of one job that count, in their order: a declared one only where its cylinder was not measured."""
    complete = _complete(captures)
    measured = _measured(complete)
    return [test for test in complete if not is_declared(test) or test.cylinder not in measured]


def unused_words(captures: Iterable[CaptureRecord]) -> dict[int, str]:
    """What is said of the declared readings of one job that do not count, by cylinder in rising order."""
    return {cylinder: _words(numbers) for cylinder, numbers in _unused(captures).items()}


def unused_by_test(captures: Iterable[CaptureRecord]) -> dict[int, str]:
    """The same of each reading alone, by its number."""
    return {number: _words((number,)) for numbers in _unused(captures).values() for number in numbers}


def _unused(captures: Iterable[CaptureRecord]) -> dict[int, tuple[int, ...]]:
    complete = _complete(captures)
    measured = _measured(complete)
    found: dict[int, tuple[int, ...]] = {}
    for test in complete:
        if is_declared(test) and test.cylinder in measured:
            found[test.cylinder] = (*found.get(test.cylinder, ()), test.id)
    return dict(sorted(found.items()))


def _complete(captures: Iterable[CaptureRecord]) -> list[CaptureRecord]:
    return [one for one in captures if one.purpose == "test" and one.state == "complete" and one.result is not None]


def _measured(complete: Iterable[CaptureRecord]) -> frozenset[int]:
    """The cylinders with a measured test; one that gave no leakage leaves the declared reading its place."""
    return frozenset(
        test.cylinder for test in complete if not is_declared(test) and (test.result or {}).get("leakage_percent") is not None
    )


def _words(numbers: tuple[int, ...]) -> str:
    if len(numbers) == 1:
        return f"the declared reading (test {numbers[0]}) is not used: the cylinder was tested"
    return f"the declared readings (tests {', '.join(map(str, numbers))}) are not used: the cylinder was tested"
