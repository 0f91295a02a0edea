"""What the page of the tests asks of the record, worked out in the worker's process. Without Qt."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from borewright.app.draw.strip_model import StripModel, strip_of
from borewright.core.engine import Engine
from borewright.core.limit_sets import LimitSet
from borewright.service.view_test import RoundView, round_view
from borewright.store.store import Store

__all__ = ["RoundShown", "round_shown"]


@dataclass(frozen=True, slots=True)
class RoundShown:
    """The way round the engine, and its strip of cylinders."""

    seen: RoundView
    strip: StripModel


def round_shown(
    store: Store,
    job_id: int,
    engine: Engine,
    document: Mapping[str, Any],
    limit_set: LimitSet,
    angle_deg: float | None,
    compares: bool,
    left: Collection[tuple[int, int]],
) -> RoundShown:
    """Arguments as service.view_test.round_view has them; the budgets are expanded here, where nobody waits for it."""
    seen = round_view(store, job_id, engine, document, limit_set, angle_deg, compares, left)
    return RoundShown(seen, strip_of(engine, seen.captures, seen.judged, None))
