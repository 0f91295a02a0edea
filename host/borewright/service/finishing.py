"""Finishing a test that was cut off: making of it what it holds.

That is a result, marked, where the reading was steady before the end; else the test is void, with what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence

from borewright.core.capture import CaptureUnusable
from borewright.core.limits import Limits
from borewright.core.plain import from_plain
from borewright.core.readiness_table import VOID_REASONS, Action, Event, State, row
from borewright.errors import UseError
from borewright.service.acts import Purpose, SayShut
from borewright.service.air import SHUT_SAID
from borewright.service.analysis import Analysed, analysed_as_dict, moved_zeros, read_capture, test_of
from borewright.service.channels import marks_of_channels, void_by_samples
from borewright.service.cut_off import NOTHING, named, the_cut_off
from borewright.service.engines import engine_from_document
from borewright.service.laws import laws_from_record
from borewright.store.records import CaptureRecord, EventRecord, JobRecord
from borewright.store.store import Store

__all__ = ["finish_cut_off", "outcome_words"]

NOT_STEADY = "the air had not been on until the reading was steady"
OF_A_CHECK = "a check of the rig that was cut off cannot be used; make it again"


def finish_cut_off(store: Store, capture_id: int) -> CaptureRecord:
    """Make of a test that was cut off what it holds, and give it as it is then.

    Raises UseError where it is no such test, StoreError.
    """
    capture = the_cut_off(store, capture_id)
    recorded_s = store.recorded_s(capture_id)
    analysed = _analysed(store, capture, recorded_s)
    marks = tuple(dict.fromkeys(analysed.marks))
    if analysed.void_reason is None:
        marks = (f"cut off by a crash after {recorded_s:.1f} s; what had been recorded by then was read", *marks)
    store.end_cut_off(capture_id, analysed_as_dict(analysed), void_reason=analysed.void_reason, marks=marks)
    return store.get_capture(capture_id)


def outcome_words(capture: CaptureRecord, job: JobRecord | None) -> str:
    """What has become of a test that was finished, in one sentence without a full stop."""
    which = f"{named(capture, job)} (test {capture.id})"
    if capture.state == "complete":
        return f"{which} holds a whole reading: {(capture.result or {})['leakage_percent']:.1f} %, marked as cut off by a crash"
    return f"{which} is void: {capture.void_reason}"


def _analysed(store: Store, capture: CaptureRecord, recorded_s: float) -> Analysed:
    """What a test holds that ended after recorded_s, as the bench would have taken it."""
    marks = tuple(str(mark) for mark in capture.readiness.get("marks") or ())
    try:
        if recorded_s <= 0.0:
            raise CaptureUnusable(NOTHING)
        if capture.purpose in ("sealed", "restrictor"):
            raise CaptureUnusable(OF_A_CHECK)
        return _read(store, capture, marks)
    except (CaptureUnusable, UseError) as unusable:
        return Analysed(None, f"cut off by a crash after {recorded_s:.1f} s: {unusable}", marks)


def _read(store: Store, capture: CaptureRecord, marks: tuple[str, ...]) -> Analysed:
    """Raises CaptureUnusable where it holds no number, UseError where the record lacks what it was read by."""
    laws = laws_from_record(capture.laws)
    try:
        purpose = from_plain(Purpose, capture.laws["purpose"])
    except (KeyError, ValueError) as error:
        raise UseError(f"the record lacks what it was for ({error}); test the cylinder again") from error
    events = store.load_events(capture.id)
    before = _void_before(events) or _unread(store, capture, purpose)
    if before is not None:
        raise CaptureUnusable(before)
    columns = store.load_columns(capture.id)
    read = read_capture(columns, laws)
    if not read.steady:
        raise CaptureUnusable(NOT_STEADY)
    if (wrong := void_by_samples(columns, purpose, laws, read)) is not None:
        raise CaptureUnusable(wrong)
    then_pa = (laws.regulated.zero_pa, laws.cylinder.zero_pa)
    if any(event.kind == "act" and event.detail.get("act") == SayShut.__name__ for event in events):
        marks += (SHUT_SAID,)
    of_channels = marks_of_channels(columns, laws, read)
    marks = (*marks, *read.marks, *moved_zeros(then_pa, read, Limits().zero_moved_pa), *of_channels)
    engine = None
    if capture.job_id is not None:
        document = store.get_engine(store.get_job(capture.job_id).engine_id).document
        engine = engine_from_document(document, "the engine of its job")
    return test_of(columns, laws, engine, marks, read, purpose.wet_oil_m3, explained=bool(of_channels))


def _void_before(events: Sequence[EventRecord]) -> str | None:
    """Why it was void already when it was cut off, by the log. Raises UseError where the log cannot be understood."""
    for event in events:
        if event.kind == "readiness":
            try:
                before, happened, after = (event.detail[name] for name in ("before", "event", "after"))
                tried = [row(State(before), Event(happened), valves=valves) for valves in (True, False)]
            except (KeyError, TypeError, ValueError) as error:
                raise UseError(f"its log cannot be understood ({error}); test the cylinder again") from error
            if any(found is not None and found.next_state == after and Action.VOID in found.actions for found in tried):
                return VOID_REASONS[Event(happened)]
    return None


def _unread(store: Store, capture: CaptureRecord, purpose: Purpose) -> str | None:
    """A pressure that nobody read at a stopped place says nothing of what got past the stop."""
    if not purpose.gauged_places or capture.job_id is None:
        return None
    findings = store.list_findings(capture.job_id)
    read = {one.place for one in findings if one.capture_id == capture.id and one.kind in ("stop_gauge", "flow")}
    left = [place.replace("_", " ") for place in purpose.gauged_places if place not in read]
    return f"the gauge at the {', '.join(left)} had not been read" if left else None
