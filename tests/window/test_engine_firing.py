"""The firing diagram: the phases fill each cylinder's cycle, in the firing order, with its TDCs and valves where they belong."""

from __future__ import annotations

from pathlib import Path

import pytest
from borewright.app.draw.firing_model import Span, doing, firing_diagram, legend
from borewright.core.engine import Engine
from borewright.service.engines import load_engine

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
ACCEPT = sorted((VECTORS / "engine_accept").glob("*.toml"))


def opened(spans: tuple[Span, ...], what: str) -> list[tuple[float, float]]:
    return sorted((span.start_deg, span.end_deg) for span in spans if span.what == what)


@pytest.mark.parametrize("path", ACCEPT, ids=lambda path: path.stem)
def test_the_phases_of_each_cylinder_fill_the_cycle_without_gap_or_overlap(path: Path) -> None:
    engine, document = load_engine(path)
    diagram = firing_diagram(engine, "valve_events" in document or "port_events" in document)
    assert [row.cylinder for row in diagram.rows] == list(engine.firing_order)
    for row in diagram.rows:
        assert row.tdc_deg == engine.firing_angle_deg(row.cylinder)
        spans = sorted(row.phases, key=lambda span: span.start_deg)
        borders = [0.0, *(span.end_deg for span in spans)]
        assert [span.start_deg for span in spans] == pytest.approx(borders[:-1])
        assert borders[-1] == pytest.approx(engine.cycle_deg)
        assert all(0.0 <= span.start_deg < span.end_deg <= engine.cycle_deg + 1e-9 for span in (*row.phases, *row.open))
        assert doing(row, engine.cycle_deg, row.tdc_deg) == "at compression TDC"
        assert doing(row, engine.cycle_deg, row.tdc_deg - 1.0).startswith("compression, 1° before")
        assert doing(row, engine.cycle_deg, row.tdc_deg + 1.0).startswith("power, 1° after")
    assert legend(diagram).startswith("▼")


def test_the_valves_of_a_four_stroke_are_open_where_its_file_says() -> None:
    engine = Engine("invented", "four-stroke", (1, 2), (360.0, 360.0), 0.08, 0.08, 0.14, 50e-6)
    first, second = firing_diagram(engine, True).rows
    # by hand: 15/55/55/15 about overlap at 360: exhaust 180-55 … 360+15, intake 360-15 … 540+55
    assert opened(first.open, "exhaust") == [(125.0, 375.0)]
    assert opened(first.open, "intake") == [(345.0, 595.0)]
    assert (first.overlap_deg, second.overlap_deg) == (360.0, 0.0)
    # one turn later, over the end of the cycle: 485 … 735 is 485 … 720 and 0 … 15
    assert opened(second.open, "exhaust") == [(0.0, 15.0), (485.0, 720.0)]


def test_the_ports_of_a_two_stroke_are_symmetrical_about_bdc() -> None:
    engine = Engine("invented", "two-stroke", (1,), (360.0,), 0.05, 0.05, 0.1, 10e-6)
    (row,) = firing_diagram(engine, False).rows
    # by hand: 95 and 115 after TDC, so until 360 - 95 and 360 - 115
    assert opened(row.open, "exhaust") == [(95.0, 265.0)]
    assert opened(row.open, "transfer") == [(115.0, 245.0)]
    assert [span.what for span in sorted(row.phases, key=lambda span: span.start_deg)] == ["power", "ports open", "compression"]
    assert row.overlap_deg is None


def test_where_nothing_moves_the_valves_none_is_open() -> None:
    engine = Engine("invented", "four-stroke", (1,), (720.0,), 0.08, 0.08, 0.14, 50e-6, valve_gear="not_fitted")
    diagram = firing_diagram(engine, True)
    assert (diagram.events, diagram.rows[0].open) == ("none", ())
    assert "do not move" in legend(diagram)
