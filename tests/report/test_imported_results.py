"""A job file whose numbers were changed on the way is refused, for lists and reports would each tell another of them."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from borewright.errors import UseError
from borewright.service.job_import import checked_job_file
from borewright.store import Store
from borewright.store.job_export import outgoing
from borewright.store.job_file import zip_bytes

from .shop_record import add_test, engine, open_record

Change = Callable[[dict[str, Any]], None]


@pytest.fixture(scope="module")
def sent(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], dict[str, Any]]:
    """The document and the samples of a job with one test."""
    with open_record(tmp_path_factory.mktemp("record") / "shop.db") as store:
        job = store.create_job("hill-climb 7", "before", store.save_engine("Larch four", engine()))
        number = add_test(store, job, 1, 7.7)
        going = outgoing(store, [store.get_job(job)])
        return dict(going.document), {store.get_capture(number).uid: store.load_columns(number)}


def written(sent: tuple[dict[str, Any], dict[str, Any]], path: Path, change: Change) -> Path:
    document = deepcopy(sent[0])
    change(document["jobs"][0]["captures"][0]["result"])
    path.write_bytes(zip_bytes(document, sent[1], {}))
    return path


def budgets_too(result: dict[str, Any]) -> None:
    result["leakage_percent"] = 49.9
    for budget in result["budgets"]:
        if budget["quantity"] == "leakage":
            budget["value"] = 49.9


def without_budgets(result: dict[str, Any]) -> None:
    del result["budgets"]
    result["leakage_percent"] = 49.9


def test_what_agrees_with_its_samples_is_taken_in(sent: tuple[dict[str, Any], dict[str, Any]], tmp_path: Path) -> None:
    file = checked_job_file(written(sent, tmp_path / "job.zip", lambda _: None))
    with Store.open(tmp_path / "other.db") as store:
        (job,) = store.take_in(file)
        assert [capture.state for capture in store.list_captures(job.id)] == ["complete"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda result: result.update(leakage_percent=49.9), "states a leakage of 49.9 % beside one of 7."),
        (lambda result: result.update(leakage_percent=-5), "states a leakage of -5 %, which cannot be"),
        (lambda result: result.update(leakage_percent=1e308), "states a leakage of 1e+308 %, which cannot be"),
        (lambda result: result.update(leakage_percent=True), "states True as its leakage_percent, which is no number"),
        (lambda result: result.update(p_cylinder_gauge_pa=1e5), "states 100 kPa as its p_cylinder_gauge_pa, and its samples give"),
        (budgets_too, "states a leakage of 49.9 %, and its samples give 7."),
        (without_budgets, "states a leakage of 49.9 %, and its samples give 7."),
    ],
)
def test_what_was_changed_on_the_way_is_refused(
    sent: tuple[dict[str, Any], dict[str, Any]], tmp_path: Path, change: Change, said: str
) -> None:
    path = written(sent, tmp_path / "job.zip", change)
    with pytest.raises(UseError) as wrong:
        checked_job_file(path)
    assert str(wrong.value).startswith(f"{path}: the test of cylinder 1 {said}")
    assert str(wrong.value).endswith("the file was changed; export the job again")
