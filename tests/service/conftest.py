"""What several tests of the station begin with."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from .at_station import AtStation, opened


@pytest.fixture(scope="session")
def checked_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds all checks of the simulated rig, made through a station. Not to be changed: take `shop`."""
    folder = tmp_path_factory.mktemp("checked")
    with opened(folder) as store:
        at = AtStation(store).connected().checked()
        assert at.station.close()
    return folder / "shop.borewright"


@pytest.fixture
def shop(checked_record: Path, tmp_path: Path) -> Path:
    """A folder with a copy of that record in it, for at_station.opened."""
    shutil.copy(checked_record, tmp_path / "shop.borewright")
    return tmp_path


@pytest.fixture
def at(shop: Path) -> Iterator[AtStation]:
    """A station at a rig whose checks are in the record."""
    with opened(shop) as store:
        at = AtStation(store).connected()
        yield at
        assert at.station.close()
