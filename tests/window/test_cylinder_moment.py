"""Which figures stand on the page of the tests at which moment, and what is said of a test, without Qt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from borewright.app.pages.cylinder_moment import figures_of
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.service.engines import engine_from_document
from borewright.service.going_round import Visit
from borewright.service.limit_files import find_limits
from borewright.service.shown_units import ShownUnits
from borewright.service.state import BenchState, Reading
from borewright.service.unit_settings import SYSTEMS
from borewright.service.view_test import ResultView, result_view, round_view
from borewright.session.session import Session
from borewright.store.records import JobRecord
from borewright.store.store import Store

METRIC, INCH = ShownUnits(SYSTEMS["metric"]), ShownUnits(SYSTEMS["inch"])


def bench(at: State, p_regulated_pa: float = 0.0, p_cylinder_pa: float = 0.0) -> BenchState:
    reading = Reading(10.0, p_regulated_pa, p_cylinder_pa, max(p_regulated_pa, p_cylinder_pa))
    under = at in (State.ISOLATED, State.VENTING)
    return replace(BenchState(Session(0.0)), reading=reading, readiness=Readiness(state=at, pressurised=under))


def test_before_a_test_the_cylinder_that_comes_next_is_what_counts() -> None:
    most = figures_of(bench(State.VENTED), METRIC, None, Visit(3, "first", turn_deg=178.6)).most
    assert (most.caption, most.figure, most.below, most.air) == ("Next: cylinder", "3", "179° ahead", False)


@pytest.mark.parametrize(("at", "caption", "below"), [
    (State.ISOLATED, "In the cylinder", "bleeding away, supply shut"),
    (State.VENTING, "Still in the rig", "do not turn or undo anything"),
])  # fmt: skip
def test_while_there_is_pressure_it_is_what_counts_and_stands_on_the_colour_of_air(at: State, caption: str, below: str) -> None:
    figures = figures_of(bench(at, 400_000.0, 396_000.0), METRIC, None, Visit(3, "first"))
    assert (figures.most.caption, figures.most.below, figures.most.air) == (caption, below, True)
    assert [one.figure for one in figures.beside] == ["400", "396"]


def test_units_are_those_that_are_shown_and_nothing_is_no_minus() -> None:
    figures = figures_of(bench(State.VENTED, -100.0, 689_476.0), INCH, None, None)  # 100 psi, by definition of the pound and inch
    assert [(one.figure, one.unit) for one in figures.beside] == [("0", "psi"), ("100", "psi")]


def test_without_a_rig_there_are_dashes() -> None:
    figures = figures_of(None, METRIC, None, None)
    assert {figures.most.figure, *(one.figure for one in figures.beside)} == {"–"}


@pytest.fixture(scope="module")
def shop(shop_record_made: Path) -> Iterator[tuple[Store, JobRecord, Mapping[str, object]]]:
    """The demo record, its job before the rebuild, and the engine's document."""
    with Store.open(shop_record_made, create=False) as store:
        job = next(job for job in store.list_jobs() if job.stage == "before")
        yield store, job, store.get_engine(job.engine_id).document


def of_cylinder(shop: tuple[Store, JobRecord, Mapping[str, object]], cylinder: int) -> ResultView:
    store, job, document = shop
    test = next(one for one in store.list_captures(job.id) if one.cylinder == cylinder and one.purpose == "test")
    return result_view(store, test.id, document, find_limits(None))


def test_after_a_test_its_figure_stands_large_with_its_uncertainty_beside(
    shop: tuple[Store, JobRecord, Mapping[str, object]],
) -> None:
    result = of_cylinder(shop, 3)
    assert result.figures is not None
    stated = result.figures.stated["leakage"]
    most = figures_of(bench(State.VENTED), METRIC, result, None).most
    assert float(most.figure) == pytest.approx(stated.value, abs=stated.expanded)
    assert most.unit.startswith("± ")
    assert float(most.unit.split()[1]) == pytest.approx(stated.expanded, rel=0.05)
    assert result.figures.pair_words(METRIC) in most.below
    assert not result.moved


def test_the_band_is_by_the_interval_with_its_source(shop: tuple[Store, JobRecord, Mapping[str, object]]) -> None:
    judged = {cylinder: of_cylinder(shop, cylinder) for cylinder in (1, 3)}
    for result in judged.values():
        assert result.judgement is not None
        assert result.judgement.source
    assert judged[1].ranks == (0,)  # 7.7 % and 31 %: freshly built work, and beyond what is serviceable
    assert judged[3].ranks == (2,)


def test_a_void_test_says_so_where_its_figure_would_stand(shop: tuple[Store, JobRecord, Mapping[str, object]]) -> None:
    void = replace(of_cylinder(shop, 1), void_reason="it was stopped", judgement=None)
    most = figures_of(bench(State.VENTED), METRIC, void, None).most
    assert (most.figure, most.below) == ("VOID", "it was stopped")


def test_the_way_round_says_what_comes_next_and_what_was(shop: tuple[Store, JobRecord, Mapping[str, object]]) -> None:
    store, job, document = shop
    engine, limits = engine_from_document(document, "the record"), find_limits(None)
    seen = round_view(store, job.id, engine, document, limits, 0.0, compares=False)
    assert seen.visit is not None
    assert (seen.visit.cylinder, seen.visit.turn_deg) == (4, 360.0)  # 1 and 3 are tested; 4 fires next
    assert seen.progress.missing == (4, 2)
    assert any("between cylinders" in words.lower() for words in seen.over)
    left = round_view(store, job.id, engine, document, limits, 0.0, compares=False, left={(4, 0), (2, 0)})
    assert left.visit is None or left.visit.kind == "suggested"
