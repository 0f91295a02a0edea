"""What the Jobs page asks of the record, what it does to it, and the report as pictures: without a window."""

from __future__ import annotations

import io
import pickle
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pypdf
import pytest
from borewright.app.draw.chart_model import Interval, axis_of
from borewright.app.draw.curves_model import curves_of
from borewright.app.draw.intervals_model import comparison_notes, comparison_rows, intervals_of
from borewright.app.draw.trend_model import trend_drawn
from borewright.app.pages.jobs_model import lines_of_tests, list_words
from borewright.errors import StoreError, UseError
from borewright.service.declared_words import DeclaredWords
from borewright.service.job_acts import (
    archive_job,
    begin_job,
    begin_next_stage,
    change_facts,
    declare_reading,
    delete_job,
    engine_names,
    restore_job,
)
from borewright.service.job_files import file_of_jobs, look_through, take_in, write_file
from borewright.service.job_form import (
    CheckedDeclared,
    CheckedJob,
    JobForm,
    Wrong,
    check_declared,
    check_job_form,
    form_of,
)
from borewright.service.report_pages import ReportWanted, limit_names, made_report, page_image
from borewright.service.shown_units import ShownUnits
from borewright.service.view_jobs import compared, find_jobs, glance_at_job, pair_for, trended
from borewright.store import Store
from PIL import Image

from .shop_record import add_test, engine, four_before_and_after, open_record


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_record(tmp_path / "shop.db") as opened:
        four_before_and_after(opened)
        yield opened


def form(**texts: object) -> JobForm:
    return JobForm(**{"name": "hill-climb 8", **texts})  # type: ignore[arg-type]


# ---------------------------------------------------------------------- the list and the glance


def test_the_list_is_newest_first_and_holds_what_is_wished_for(store: Store) -> None:
    found = find_jobs(store, "", False, False)
    assert [(row.job.stage, row.tests) for row in found.rows] == [("after", 4), ("before", 5)]
    assert [row.job.stage for row in find_jobs(store, " söhne ", False, False).rows] == ["after", "before"]
    archive_job(store, 1, True)
    delete_job(store, 2, "")
    assert find_jobs(store, "", False, False).rows == ()
    assert find_jobs(store, "", False, False).any_at_all
    assert [row.job.id for row in find_jobs(store, "", True, False).rows] == [1]
    assert [row.job.id for row in find_jobs(store, "", False, True).rows] == [2]
    assert list_words(find_jobs(store, "", False, False), "") == "Every job is archived or deleted; show them with the boxes above."


def test_a_glance_has_every_cylinder_in_firing_order_with_its_latest_reading(store: Store) -> None:
    glance = glance_at_job(store, 1)
    assert [one.cylinder for one in glance.cylinders] == [1, 3, 4, 2]
    assert [one.leakage_percent for one in glance.cylinders] == [7.7, 6.7, 14.8, 31.1]
    assert glance.findings == 3
    assert glance.next_stage is None
    assert glance.pair is not None
    assert [job.stage for job in glance.pair] == ["before", "after"]
    assert pickle.loads(pickle.dumps(glance)) == glance
    lines = lines_of_tests(glance)
    assert lines[0].startswith("cylinder 1: 7.7")
    assert any(line.startswith("suggested next: cylinder") for line in lines)


def test_void_declared_and_missing_tests_are_told_apart(store: Store) -> None:
    job = begin_next(store)
    void = store.begin_capture(job, 1, device_serial="R-1")
    store.finish_capture(void, void_reason="the crank left its window")
    reading = check_declared(store, declared())
    assert isinstance(reading, CheckedDeclared)
    declare_reading(store, job, 2, reading.reading)
    add_test(store, job, 3, 6.0)
    glance = glance_at_job(store, job)
    lines = lines_of_tests(glance)
    assert lines[0] == "cylinder 1: void, the crank left its window"
    assert lines[1].startswith("cylinder 3: 6.0")
    assert lines[2] == "cylinder 4: not tested"
    assert lines[3].startswith("cylinder 2: 10.0")
    assert lines[3].endswith(", declared")


def begin_next(store: Store) -> int:
    """A new "before" of another name, and the stage after it."""
    checked = check_job_form(store, form())
    assert isinstance(checked, CheckedJob)
    job = begin_job(store, checked, "before", engine())
    return begin_next_stage(store, job.id).id


def test_an_engine_of_an_older_kind_does_not_hide_its_job(store: Store) -> None:
    odd = store.create_job("old", "before", store.save_engine("old", {"bore_mm": 86.0}))
    add_test(store, odd, 1, 5.0)
    glance = glance_at_job(store, odd)
    assert glance.coming is None
    assert [one.cylinder for one in glance.cylinders] == [1]


def test_jobs_that_go_together_are_found(store: Store) -> None:
    alike = glance_at_job(store, 1).same_engine
    assert pair_for(alike[1], alike) == (alike[0], alike[1])
    assert pair_for(alike[0], alike[:1]) is None
    lone = store.create_job("another day", "routine", 1)
    pair = glance_at_job(store, lone).pair
    assert pair is not None
    assert [job.id for job in pair] == [2, lone]


# ---------------------------------------------------------------------- acts


def test_the_next_stage_takes_over_who_and_what_but_not_the_day(store: Store) -> None:
    checked = check_job_form(store, form(customer="Larch", technician="Ada", hours="310 h"))
    assert isinstance(checked, CheckedJob)
    store.save_in_library(engine())
    assert engine_names(store) == ("Larch four",)
    before = begin_job(store, checked, "before", "Larch four")
    after = begin_next_stage(store, before.id)
    assert (after.name, after.stage, after.engine_id) == (before.name, "after", before.engine_id)
    assert (after.customer_reference, after.technician, after.details) == ("Larch", "Ada", {})
    with pytest.raises(UseError, match="has no stage that could be begun beside it"):
        begin_next_stage(store, before.id)
    with pytest.raises(UseError, match="no engine 'pump' in the library"):
        begin_job(store, checked, "routine", "pump")


def test_deleting_and_bringing_back_keeps_names_apart(store: Store) -> None:
    assert delete_job(store, 2, "  wrong engine ").deleted_reason == "wrong engine"
    again = begin_next_stage(store, 1)
    assert restore_job(store, 2) == "taken"
    delete_job(store, again.id, "")
    restored = restore_job(store, 2)
    assert not isinstance(restored, str)
    assert restored.deleted_at_unix_s is None
    with pytest.raises(UseError, match="the reason must be one line"):
        delete_job(store, 2, "a\nb")


def test_facts_keep_numbers_that_were_only_rounded_for_showing(store: Store) -> None:
    shown = form_of(store, 1, ShownUnits({"pressure_gauge": "psi"}))
    assert shown.engine_temperature == "41.0 °C"
    assert shown.compression == "1 = 190.0 psi, 3 = 142.1 psi"
    kept = store.get_job(1).details
    checked = check_job_form(store, shown, shown, kept)
    assert isinstance(checked, CheckedJob)
    assert checked.details == kept
    assert change_facts(store, 1, checked).details == kept
    changed = check_job_form(store, JobForm(name="hill-climb 7", compression="2 = 12 bar"), shown, kept)
    assert isinstance(changed, CheckedJob)
    assert changed.details == {"compression_gauge_pa": {"2": 1_200_000.0}}


@pytest.mark.parametrize(
    ("texts", "field", "sentence"),
    [
        ({"name": " "}, "name", "a job has a name of 1 to 80 characters"),
        ({"customer": "a\tb"}, "customer", "customer must be one line"),
        ({"oil_temperature": "80"}, "oil_temperature", "oil temperature: '80' is not a number with a unit"),
        ({"oil_temperature": "800 degC"}, "oil_temperature", "oil temperature: must be from 223.15 to 473.15"),
        ({"compression": "12 bar"}, "compression", "compression readings: say the cylinder and its reading"),
        ({"compression": "99 = 12 bar"}, "compression", "is no cylinder"),
        ({"hours": "h" * 41}, "hours", "hours run: must be a text of at most 40 characters"),
        ({"text": "x" * 2001}, "text", "remarks: must be a text of at most 2000 characters"),
    ],
)
def test_a_form_names_the_field_that_cannot_be(store: Store, texts: dict[str, str], field: str, sentence: str) -> None:
    answer = check_job_form(store, form(**texts))
    assert isinstance(answer, Wrong)
    assert answer.field == field
    assert sentence in answer.sentence


def declared(**texts: object) -> DeclaredWords:
    usual: dict[str, object] = {
        "regulated": "80 psi",
        "cylinder_pressure": "72 psi",
        "gauge_error": "1.6 % of 160 psi",
        "read_to": "1 psi",
        "when": "2026-03-31",
        "how": "hand gauges",
        "who": "Ada",
    }
    return DeclaredWords(**(usual | texts))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("texts", "field", "sentence"),
    [
        ({"gauge_error": "1.6 %"}, "gauge_error", "gauge error: "),
        ({"when": "yesterday"}, "when", "day 'yesterday' is no day"),
        ({"who": " "}, "who", "who says so: a declared reading has to say it"),
        ({"cylinder_pressure": "90 psi"}, "", "a cylinder pressure of 620.5 kPa cannot be"),
        ({"when": "2026-04-02"}, "", "2026-04-02 has not come yet"),
        ({"restrictor_bore": "0.040"}, "restrictor_bore", "restrictor bore: "),
    ],
)
def test_a_declared_reading_names_what_cannot_be(store: Store, texts: dict[str, str], field: str, sentence: str) -> None:
    answer = check_declared(store, declared(**texts), date(2026, 4, 1))
    assert isinstance(answer, Wrong)
    assert answer.field == field
    assert answer.sentence.startswith(sentence)


def test_nothing_is_declared_in_a_deleted_job(store: Store) -> None:
    reading = check_declared(store, declared())
    assert isinstance(reading, CheckedDeclared)
    delete_job(store, 2, "")
    with pytest.raises(StoreError, match="is deleted; bring it back"):
        declare_reading(store, 2, 1, reading.reading)


# ---------------------------------------------------------------------- the charts' models


def test_the_charts_hold_what_was_compared(store: Store) -> None:
    answer = compared(store, 1, 2)
    assert pickle.loads(pickle.dumps(answer)) == answer
    drawn = intervals_of(answer.found, "leakage")
    assert [row.after.value for row in drawn.rows if row.after is not None] == [5.3, 6.7, 4.7, 7.7]
    # those before are carried over to the conditions after, which are nearly the same
    assert [row.before.value for row in drawn.rows if row.before is not None] == pytest.approx([7.7, 31.1, 6.7, 14.8], rel=0.03)
    assert all(side.high <= drawn.axis.high for row in drawn.rows for side in (row.before, row.after) if side is not None)
    headings, rows = comparison_rows(answer.found, "in²")
    assert headings[1] == "leak area in²"
    assert [row[0] for row in rows] == ["1", "2", "3", "4"]
    assert "cylinder 2: the zeros had wandered" in comparison_notes(answer.found)
    curves = curves_of(answer.curves, "kPa")
    assert [panel.cylinder for panel in curves.panels] == [1, 2, 3, 4]
    t_s, p_kpa = curves.panels[0].before[0]
    assert t_s == pytest.approx(0.0, abs=0.01)
    assert p_kpa == pytest.approx(546.0 * (1.0 - 0.077) * 0.5 ** (t_s * 7.7 / 4.0), rel=1e-3)  # as shop_record makes it
    assert curves.pressure.high >= max(p for panel in curves.panels for _, p in panel.before)
    assert "cylinder 2: before half after" in curves.words


def test_the_trend_says_once_what_is_so_of_several(store: Store) -> None:
    drawn = trend_drawn(trended(store, 1), "leak area")
    assert [panel.cylinder for panel in drawn.panels] == [1, 2, 3, 4]
    assert all(spot.level is not None for panel in drawn.panels for spot in panel.spots)
    assert "the zeros had wandered (cylinder 2 in job 1)" in drawn.notes
    delete_job(store, 2, "")
    with pytest.raises(UseError, match="a trend needs two"):
        trended(store, 1)


def test_an_axis_holds_nothing_at_all_too() -> None:
    assert axis_of(0.0, 0.0, 4).high > 0.0
    assert axis_of(float("nan"), 1.0, 4).high > axis_of(float("nan"), 1.0, 4).low
    assert Interval(1.0, 0.25).low == 0.75


# ---------------------------------------------------------------------- report and files


def test_each_page_of_the_report_becomes_a_picture_of_the_width_asked_for(store: Store) -> None:
    made = made_report(store, ReportWanted((1, 2)))
    pages = pypdf.PdfReader(io.BytesIO(made.data)).pages
    assert len(made.sizes_in) == len(pages)
    for number, page in enumerate(pages):
        assert made.sizes_in[number] == pytest.approx((float(page.mediabox.width) / 72.0, float(page.mediabox.height) / 72.0))
        image = page_image(store, made.data, number, 620)
        picture = Image.frombytes("RGB", (image.width_px, image.height_px), image.data)
        assert picture.width == 620
        assert picture.getpixel((0, 0)) == (255, 255, 255)
        assert picture.convert("L").getextrema()[0] < 100  # something is printed on it
    assert page_image(store, made.data, 0, 1_000_000).width_px == 6000  # a slip does not take all memory


def test_the_limits_that_an_engine_has_are_offered(store: Store) -> None:
    assert limit_names(store, 1)[0] == "common practice"
    assert "maker" not in limit_names(store, 1)
    ours = engine() | {"maker_limits": {"leakage_percent": 15.0}}
    job = store.create_job("with limits", "before", store.save_engine("with limits", ours))
    assert limit_names(store, job)[-1] == "maker"


def test_a_file_is_written_once_and_looked_through_before_it_comes_in(store: Store, tmp_path: Path) -> None:
    data = file_of_jobs(store, (1, 2), ".zip")
    path = tmp_path / "out.zip"
    written = write_file(store, path, data, False)
    assert written is not None
    assert written.size == len(data)
    assert write_file(store, path, b"", False) is None
    assert path.read_bytes() == data
    with pytest.raises(UseError, match=r"'\.exe' is no kind of file"):
        file_of_jobs(store, (1,), ".exe")
    with Store.open(tmp_path / "other.db") as other:
        looked = look_through(other, path)
        assert looked.jobs == (("hill-climb 7", "before", 5), ("hill-climb 7", "after", 4))
        assert [job.name for job in take_in(other, looked, "another name")] == ["another name", "another name"]
        assert look_through(other, path).here == ("another name, before", "another name, after")
        with pytest.raises(UseError, match=r"is in .* already"):
            take_in(other, looked, "")
