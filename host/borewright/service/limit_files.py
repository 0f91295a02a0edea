"""Sets of limits in TOML: those that come with the program, a shop's own, and the one that an engine file may carry.

schema_version = 1
name = "Larch shop"
kind = "own"
source = "what our engines read on the day they left, 2019 to 2025"
spread_percent = [4.0, 8.0]

[[bands]]
name = "hand it over"
words = "as tight as any that left here"
up_to_percent = 9.0

[[bands]]
name = "strip it"
words = "none that left here read more"
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from math import inf
from pathlib import Path
from typing import Any, cast, get_args

from borewire.toml_file import read_toml

from borewright.core.limit_sets import Band, LimitSet, Procedure, RestrictorOfBore, SourceKind
from borewright.errors import UseError
from borewright.service.plain_file import text_of
from borewright.units import Dimension, UnitsError, parse

__all__ = ["MAKER", "USUAL", "find_limits", "known_limits", "maker_limits", "read_limits"]

USUAL = "common practice"
MAKER = "maker"
_FOLDER = "limit_sets"
_LONGEST_FILE = 100_000
_MOST_BANDS = 20
_SET_KEYS = ("schema_version", "name", "kind", "source", "caution", "spread_percent", "bands", "procedure")
_BAND_KEYS = ("name", "words", "up_to_percent")
_PROCEDURE_KEYS = (
    "name",
    "otherwise",
    "pressure_under_flow",
    "pressure_tolerance",
    "engine_at_least",
    "restrictor_area_share",
    "assumed",
    "restrictors",
)
_RESTRICTOR_KEYS = ("restrictor_bore", "cylinder_bore_under")


def known_limits() -> dict[str, str]:
    """The texts of the sets that come with the program, by the name of the set."""
    folder = files("borewright.service") / _FOLDER
    texts = [entry.read_text("utf-8") for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return dict(sorted((str(tomllib.loads(text)["name"]), text) for text in texts))


def find_limits(wanted: str | None, engine: Mapping[str, Any] | None = None) -> LimitSet:
    """The set of a name, "maker" for that of the engine's document, or that in a file; None: the usual one.

    Raises UseError with one sentence: the engine has none, no such name or file, or a file that cannot serve.

    >>> find_limits(None).name, find_limits("AC 43.13-1B").kind
    ('common practice', 'published')
    """
    known = known_limits()
    name = USUAL if wanted is None else wanted.strip()
    if name in known:
        return read_limits(known[name], name)
    if name == MAKER:
        return maker_limits(engine or {})
    names = ", ".join(f'"{one}"' for one in (*known, MAKER))
    path = Path(name)
    try:
        text = text_of(path, _LONGEST_FILE)
    except OSError as error:
        reason = error.strerror or "the disk refuses"
        raise UseError(f"{name}: the limits cannot be read ({reason}); give a TOML file or one of {names}") from error
    return read_limits(text, name)


def maker_limits(engine: Mapping[str, Any]) -> LimitSet:
    """The set that an engine's document carries in maker_limits. Raises UseError where it has none.

    >>> maker_limits({"name": "Larch", "maker_limits": {"leakage_percent": 15.0}}).bands[1].name
    "over the maker's limit, open it up"
    """
    name, limits = engine.get("name", "the engine"), engine.get("maker_limits") or {}
    if "leakage_percent" not in limits:
        raise UseError(f"{name} has no limit of its maker; write maker_limits into its engine file, or name another set of limits")
    limit, apart = float(limits["leakage_percent"]), limits.get("spread_percent")
    if limit >= 100.0:
        raise UseError(f"{name}: maker_limits.leakage_percent: must be under 100 to divide anything; correct the engine file")
    bands = (
        Band("inside of the maker's limit", f"not more than {limit:g} %", limit),
        Band("over the maker's limit, open it up", f"more than {limit:g} %"),
    )
    source = f"engine file of {name}: {limits.get('source', 'no source given')}"
    return LimitSet("maker", "published", source, bands, None if apart is None else (float(apart), float(apart)))


def read_limits(text: str, source: str) -> LimitSet:
    """The set in a TOML text; source names the text in errors. Raises UseError: which file, which key, what is wrong."""
    try:
        document = read_toml(text)
    except ValueError as error:
        raise UseError(f"{source}: {error}") from None
    table = _Table(source, "", document, _SET_KEYS)
    if document.get("schema_version") != 1 or isinstance(document["schema_version"], bool):
        raise table.wrong("schema_version", "must be 1")
    kind = table.text("kind", 20)
    if kind not in get_args(SourceKind):
        raise table.wrong("kind", f"must be one of {', '.join(get_args(SourceKind))}")
    bands = tuple(
        Band(band.text("name", 80), band.text("words", 200), band.percent("up_to_percent", inf))
        for band in table.tables("bands", _BAND_KEYS, _MOST_BANDS)
    )
    apart = table.pair("spread_percent") if "spread_percent" in document else None
    procedure = _procedure(table.table("procedure", _PROCEDURE_KEYS)) if "procedure" in document else None
    caution = table.text("caution", 300) if "caution" in document else ""
    try:
        return LimitSet(table.text("name", 80), cast(SourceKind, kind), table.text("source", 300), bands, apart, procedure, caution)
    except ValueError as error:
        raise UseError(f"{source}: {error}; correct the file") from None


def _procedure(table: _Table) -> Procedure:
    restrictors = tuple(
        RestrictorOfBore(
            one.quantity("restrictor_bore", "length", 1e-4, 1e-2), one.quantity("cylinder_bore_under", "length", 1e-3, 2.0, inf)
        )
        for one in (table.tables("restrictors", _RESTRICTOR_KEYS, _MOST_BANDS) if "restrictors" in table.values else [])
    )
    ends = [one.bore_under_m for one in restrictors]
    if ends != sorted(set(ends)):
        raise table.wrong("restrictors", "must be written by rising cylinder_bore_under, the one for all others last")
    usual = Procedure("", "")
    return Procedure(
        name=table.text("name", 200),
        otherwise=table.text("otherwise", 200),
        p_regulated_gauge_pa=table.maybe("pressure_under_flow", "pressure_gauge", 1e3, 5e6),
        p_tolerance_pa=table.quantity("pressure_tolerance", "pressure_gauge", 0.0, 1e6, 0.0),
        restrictors=restrictors,
        area_share=table.pair("restrictor_area_share") if "restrictor_area_share" in table.values else usual.area_share,
        t_engine_least_k=table.maybe("engine_at_least", "temperature", 223.15, 573.15),
        assumed=table.texts("assumed"),
    )


class _Table:
    """A table of the file whose keys are looked at one by one; unknown ones are refused at once."""

    def __init__(self, source: str, place: str, values: Any, keys: tuple[str, ...]) -> None:
        self._source, self._place = source, place
        if not isinstance(values, dict):
            raise UseError(f"{source}: {place.rstrip('.')}: must be a table; correct the file")
        self.values: dict[str, Any] = values
        unknown = next((key for key in values if key not in keys), None)
        if unknown is not None:
            raise self.wrong(unknown, f"is no key here; there are {', '.join(keys)}")

    def wrong(self, key: str, reason: str) -> UseError:
        return UseError(f"{self._source}: {self._place}{key if key.isprintable() else repr(key)}: {reason}; correct the file")

    def text(self, key: str, longest: int) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or not 0 < len(value.strip()) <= longest or not value.isprintable():
            raise self.wrong(key, f"must be a line of 1 to {longest} characters that can be printed")
        return value.strip()

    def texts(self, key: str) -> tuple[str, ...]:
        values = self.values.get(key, [])
        if not isinstance(values, list) or not all(
            isinstance(one, str) and 0 < len(one) <= 200 and one.isprintable() for one in values
        ):
            raise self.wrong(key, "must be a list of lines of 1 to 200 characters")
        return tuple(values)

    def percent(self, key: str, otherwise: float) -> float:
        return otherwise if key not in self.values else self._number(key, self.values[key])

    def pair(self, key: str) -> tuple[float, float]:
        value = self.values[key]
        if not isinstance(value, list) or len(value) != 2:
            raise self.wrong(key, "must be two numbers")
        low, high = (self._number(key, one) for one in value)
        if not 0.0 < low <= high:
            raise self.wrong(key, "must be two rising numbers over 0")
        return low, high

    def quantity(self, key: str, dimension: Dimension, low: float, high: float, otherwise: float | None = None) -> float:
        if key not in self.values and otherwise is not None:
            return otherwise
        value = self.values.get(key)
        if not isinstance(value, str):
            raise self.wrong(key, "must be a text with a number and its unit")
        try:
            si = parse(value, dimension)
        except UnitsError as error:
            raise self.wrong(key, str(error)) from None
        if not low <= si <= high:
            raise self.wrong(key, f"{value} cannot be meant; look at the unit")
        return si

    def maybe(self, key: str, dimension: Dimension, low: float, high: float) -> float | None:
        return self.quantity(key, dimension, low, high) if key in self.values else None

    def table(self, key: str, keys: tuple[str, ...]) -> _Table:
        return _Table(self._source, f"{self._place}{key}.", self.values[key], keys)

    def tables(self, key: str, keys: tuple[str, ...], most: int) -> list[_Table]:
        value = self.values.get(key)
        if not isinstance(value, list) or not 0 < len(value) <= most:
            raise self.wrong(key, f"must be 1 to {most} tables, each begun with [[{self._place}{key}]]")
        return [_Table(self._source, f"{self._place}{key}[{number}].", one, keys) for number, one in enumerate(value, 1)]

    def _number(self, key: str, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not -1e6 < value < 1e6:
            raise self.wrong(key, "must be a number")
        return float(value)
