"""Scenarios: an engine with its faults, a rig, a person, and the truth that goes with them, from one TOML file.

A scenario may be `like` another one and replace keys; its engine stands in the file or in an engine file beside it. Everything is
read strictly: unknown keys and impossible values raise ScenarioError.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewire.engine_file import EngineFileError
from borewire.toml_file import read_toml

from boresim.engine import SimEngine, load_engine
from boresim.reader import ScenarioError, Table, merged
from boresim.reference_rig import RigParts, read_rig

if TYPE_CHECKING:
    from boresim.faults import Moment

__all__ = [
    "Ambient",
    "CrankParts",
    "Leak",
    "Openings",
    "OperatorManners",
    "PlannedFault",
    "Scenario",
    "ScenarioError",
    "Truth",
    "WhileValve",
    "load_scenario",
    "scenario_names",
]

LARGEST_FILE = 2_000_000  # octets; a scenario has a few thousand
STAGES = ("before", "after", "routine")


@dataclass(frozen=True, slots=True)
class WhileValve:
    """A leak is there only while a valve (of another cylinder, say) is open, or only while it is shut."""

    cylinder: int
    valve: str
    is_open: bool


@dataclass(frozen=True, slots=True)
class Leak:
    """A way out of one cylinder.

    area_m2 is the ideal nozzle at TDC with the rig's set pressure over the piston; at another gauge pressure p it is
    area · (p/set)^pressure_exponent. A share of it, worn_top_share, belongs to the worn top of the bore and fades
    as the piston goes down by worn_top_m. With to_cylinder it leads into that cylinder, and comes out of its plug hole and of the
    valves that stand open there.
    """

    place: str
    area_m2: float
    pressure_exponent: float
    worn_top_share: float
    worn_top_m: float
    only_while: WhileValve | None
    to_cylinder: int | None = None


@dataclass(frozen=True, slots=True)
class Openings:
    """Areas of the engine's own openings, the decompression device, stops and what pipes have in common."""

    intake_m2: float
    exhaust_m2: float
    decompression_m2: float
    decompression_deg: tuple[float, float]  # automatic: where it holds a valve off, after compression TDC (negative: before)
    decompression_on: bool  # manual: not released
    stop_leak_m2: float
    shared_pipes: tuple[str, ...]  # places whose pipe ends in the other cylinders' open valves
    plug_hole_m2: float = 1.1e-4  # through which air that gets into another cylinder leaves it


@dataclass(frozen=True, slots=True)
class CrankParts:
    """What turns, what holds it, and where it stands at the start."""

    start_deg: float
    inertia_kg_m2: float
    friction_nm: float
    viscous_nm_s: float
    hand_torque_nm: float
    restraint_nm: float  # what the person's restraint holds, as stated
    restraint_slack_deg: float


@dataclass(frozen=True, slots=True)
class Ambient:
    """The air of the workshop and the engine's warmth."""

    pressure_abs_pa: float
    air_k: float
    engine_k: float
    engine_wall_w_k: float
    engine_wall_w_k_pa: float  # more of it for each Pa over ambient
    engine_wall_stir: float = 0.0  # by how much air that streams in through a choked restrictor raises it, a share of it


@dataclass(frozen=True, slots=True)
class OperatorManners:
    """How slowly and how roughly the person acts."""

    reaction_s: float
    hand_error_deg: float
    turn_rpm: float
    wrong_holes: Mapping[int, int] = field(default_factory=dict)  # told to put the hose into one, the other is taken at first


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault of boresim.faults that comes by itself; None: at its own moment, so long after it as the row says."""

    name: str
    at: Moment | None
    after_s: float | None


@dataclass(frozen=True, slots=True)
class Truth:
    """What this rig would read at compression TDC without sensor error.

    leak_area_m2 is the ideal nozzle that leaks the same mass flow at that cylinder pressure with gas of the supply's temperature.
    """

    leakage_percent: float
    leak_area_m2: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything the simulator starts from. truth is what the file claims; boresim.truth.plant_truth computes it."""

    name: str
    story: str
    stage: str
    seed: int
    engine: SimEngine
    engine_document: Mapping[str, Any]
    rig: RigParts
    leaks: Mapping[int, tuple[Leak, ...]]
    openings: Openings
    crank: CrankParts
    ambient: Ambient
    operator: OperatorManners
    truth: Mapping[int, Truth]
    faults: tuple[PlannedFault, ...] = ()


def scenario_names() -> tuple[str, ...]:
    """The names of the scenarios that come with the simulator."""
    names = (entry.name for entry in files("boresim.scenarios").iterdir())
    return tuple(sorted(name[:-5] for name in names if name.endswith(".toml") and not name.endswith(("_engine.toml", "_rig.toml"))))


def load_scenario(name_or_path: str, seed: int | None = None) -> Scenario:
    """The scenario of that name, or in that file; a seed replaces the file's. Raises ScenarioError.

    >>> load_scenario("hillclimb-before").engine.firing_order
    (1, 3, 4, 2)
    """
    document, source, folder = _document(name_or_path)
    return read_scenario(document, source, folder, seed)


def read_scenario(document: Mapping[str, Any], source: str, folder: Path | None = None, seed: int | None = None) -> Scenario:
    """The scenario of a document; files that it names are looked for in folder, then among the simulator's own."""
    table = Table(_inherited(document, source, folder, ()), source)
    if table.whole("schema_version", 1, 1) and "like" in table:
        table.take("like")
    engine_document = _engine_document(table, folder)
    try:
        engine = load_engine(engine_document, source)
    except EngineFileError as error:
        raise ScenarioError(source, f"engine.{error.key}" if error.key else "engine", error.reason) from None
    rig_table = table.table("rig")
    rig = read_rig(Table(_rig_document(rig_table, folder), source, "rig"))
    scenario = Scenario(
        name=table.text("name"),
        story=table.text("story", ""),
        stage=table.choice("stage", STAGES, "routine"),
        seed=_seed(table, seed),
        engine=engine,
        engine_document=engine_document,
        rig=rig,
        leaks=_leaks(table, engine),
        openings=_openings(table.table("openings", optional=True), engine),
        crank=_crank(table.table("crank")),
        ambient=_ambient(table.table("ambient")),
        operator=_operator(table.table("operator"), engine),
        truth=_truth(table.table("truth", optional=True), engine),
        faults=_faults(table),
    )
    table.done()
    return scenario


def _document(name_or_path: str) -> tuple[dict[str, Any], str, Path | None]:
    if name_or_path in scenario_names():
        return _packaged(f"{name_or_path}.toml", name_or_path), f"{name_or_path}.toml", None
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise ScenarioError(name_or_path, "", f"is no scenario; give a .toml file or one of {', '.join(scenario_names())}")
    return _parsed(_read(path), path.name), path.name, path.parent


def _read(path: Path) -> str:
    if os.path.exists(path) and not os.path.isfile(path):  # which take any name
        raise ScenarioError(str(path), "", "is no plain file; give a .toml file")
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_FILE).decode("utf-8")  # whoever reads it as TOML refuses less than that
    except OSError as error:
        raise ScenarioError(str(path), "", f"cannot be read ({error.strerror}); check the name") from None
    except UnicodeDecodeError:
        raise ScenarioError(str(path), "", "is not UTF-8 text; save it as UTF-8") from None
    except ValueError:  # a zero in its name
        raise ScenarioError(str(path), "", "is no name of a file; check it") from None


def _parsed(text: str, source: str) -> dict[str, Any]:
    try:
        return read_toml(text)
    except ValueError as error:
        raise ScenarioError(source, "", str(error)) from None


def _packaged(file_name: str, asked: str) -> dict[str, Any]:
    resource = files("boresim.scenarios") / file_name
    if not resource.is_file():
        raise ScenarioError(asked, "", f"there is no {file_name} beside it or among the simulator's own; check the name")
    return _parsed(resource.read_text(encoding="utf-8"), file_name)


def _beside(file_name: str, folder: Path | None, source: str) -> dict[str, Any]:
    """A file that a scenario names: beside it first, then the simulator's own. A name with a folder in it leads to neither."""
    if not re.fullmatch(r"[^/\\:\0]*[^/\\:\0.]", file_name):
        raise ScenarioError(source, "", f"names {file_name!r}, which is no name of a file beside it; put the file there")
    if folder is not None and (folder / file_name).is_file():
        return _parsed(_read(folder / file_name), file_name)
    return _packaged(file_name, source)


def _inherited(document: Mapping[str, Any], source: str, folder: Path | None, seen: tuple[str, ...]) -> dict[str, Any]:
    like = document.get("like")
    if like is None:
        return dict(document)
    if not isinstance(like, str) or like in seen:
        raise ScenarioError(source, "like", f"must be the name of another scenario, and not come back to itself, not {like!r}")
    below = _inherited(_beside(f"{like}.toml", folder, source), f"{like}.toml", folder, (*seen, like))
    return merged(below, document)


def _engine_document(table: Table, folder: Path | None) -> Mapping[str, Any]:
    value = table.take("engine")
    if isinstance(value, str):
        return _beside(value, folder, table.source)
    if not isinstance(value, Mapping):
        raise table.error("engine", f"must be the name of an engine file or a table, not {value!r}")
    return value


def _rig_document(table: Table, folder: Path | None) -> dict[str, Any]:
    like = table.text("like", "reference_rig.toml")
    return merged(_beside(like, folder, table.source), {key: value for key, value in table.values.items() if key != "like"})


def _seed(table: Table, seed: int | None) -> int:
    of_file = table.whole("seed", 0, 2**31 - 1)
    if seed is not None and not 0 <= seed < 2**31:
        raise table.error("seed", f"must be from 0 to 2147483647, not {seed}")
    return of_file if seed is None else seed


def _cylinder(table: Table, engine: SimEngine, key: str, value: object) -> int:
    if not isinstance(value, int) or value not in engine.firing_order:
        raise table.error(key, f"the engine has no cylinder {value}; it has {', '.join(map(str, sorted(engine.firing_order)))}")
    return value


def _leaks(table: Table, engine: SimEngine) -> dict[int, tuple[Leak, ...]]:
    result: dict[int, tuple[Leak, ...]] = {}
    for entry in table.tables("cylinders"):
        number = _cylinder(entry, engine, "number", entry.whole("number", 1, 24))
        if number in result:
            raise entry.error("number", f"cylinder {number} is there twice; join the two")
        result[number] = tuple(_leak(leak, engine, number) for leak in entry.tables("leaks"))
        entry.done()
    for number in engine.firing_order:
        if number not in result:
            raise table.error("cylinders", f"cylinder {number} is missing; add it, with leaks = [] if it is tight")
    return result


def _leak(table: Table, engine: SimEngine, of_cylinder: int) -> Leak:
    only_while = None
    if "only_while" in table:
        inner = table.table("only_while")
        only_while = WhileValve(
            _cylinder(inner, engine, "cylinder", inner.whole("cylinder", 1, 24)),
            inner.choice("valve", ("intake", "exhaust")),
            inner.yes_no("open"),
        )
        inner.done()
    to_cylinder = None
    if "to" in table:
        to_cylinder = _cylinder(table, engine, "to", table.whole("to", 1, 24))
    leak = Leak(
        place=table.choice("place", engine.places),
        area_m2=1e-6 * table.number("area_mm2", 0.0, 500.0),
        pressure_exponent=table.number("pressure_exponent", -1.0, 2.0, 0.0),
        worn_top_share=table.number("worn_top_share", 0.0, 1.0, 0.0),
        worn_top_m=1e-3 * table.number("worn_top_mm", 0.1, 500.0, 12.0),
        only_while=only_while,
        to_cylinder=to_cylinder,
    )
    if to_cylinder is not None and (leak.place not in {"neighbours", "other_chambers"} or to_cylinder == of_cylinder):
        raise table.error("to", "names the other cylinder that air gets into; it goes with the place neighbours or other_chambers")
    table.done()
    return leak


def _openings(table: Table, engine: SimEngine) -> Openings:
    events = table.table("decompression_deg", optional=True)
    openings = Openings(
        intake_m2=1e-6 * table.number("intake_mm2", 10, 100_000, 320.0),
        exhaust_m2=1e-6 * table.number("exhaust_mm2", 10, 100_000, 260.0),
        decompression_m2=1e-6 * table.number("decompression_mm2", 0, 1000, 0.0 if engine.decompression == "none" else 6.0),
        decompression_deg=(events.number("from", -180, 180, -110.0), events.number("to", -180, 180, -35.0)),
        decompression_on=table.yes_no("decompression_on", False),
        stop_leak_m2=1e-6 * table.number("stop_leak_mm2", 0, 100, 0.03),
        shared_pipes=table.words("shared_pipes", engine.places),
        plug_hole_m2=1e-6 * table.number("plug_hole_mm2", 10, 10_000, 110.0),
    )
    events.done()
    table.done()
    return openings


def _crank(table: Table) -> CrankParts:
    crank = CrankParts(
        start_deg=table.number("start_deg", -720, 720),
        inertia_kg_m2=table.number("inertia_kg_m2", 1e-4, 100),
        friction_nm=table.number("friction_nm", 0, 500),
        viscous_nm_s=table.number("viscous_nm_s", 0, 50, 0.2),
        hand_torque_nm=table.number("hand_torque_nm", 0.5, 1000),
        restraint_nm=table.number("restraint_nm", 0, 5000),
        restraint_slack_deg=table.number("restraint_slack_deg", 0, 10, 0.0),
    )
    table.done()
    return crank


def _ambient(table: Table) -> Ambient:
    ambient = Ambient(
        pressure_abs_pa=1e3 * table.number("pressure_kpa", 50, 110),
        air_k=273.15 + table.number("air_degc", -30, 60),
        engine_k=273.15 + table.number("engine_degc", -30, 150),
        engine_wall_w_k=table.number("engine_wall_w_k", 0, 20),
        engine_wall_w_k_pa=1e-5 * table.number("engine_wall_w_k_per_bar", 0, 5, 0.0),
        engine_wall_stir=table.number("engine_wall_stir", 0, 10, 0.0),
    )
    table.done()
    return ambient


def _operator(table: Table, engine: SimEngine) -> OperatorManners:
    mistakes = table.table("mistakes", optional=True)
    manners = OperatorManners(
        reaction_s=table.number("reaction_s", 0, 30),
        hand_error_deg=table.number("hand_error_deg", 0, 20),
        turn_rpm=table.number("turn_rpm", 0.5, 60),
        wrong_holes=_wrong_holes(mistakes.table("hose", optional=True), engine),
    )
    mistakes.done()
    table.done()
    return manners


def _faults(table: Table) -> tuple[PlannedFault, ...]:
    """The faults that come by themselves."""
    planned = []
    for entry in table.tables("faults"):
        from boresim.faults import Moment, fault_named  # noqa: PLC0415  its rows know scenarios

        try:
            name = fault_named(entry.text("name")).name
        except ValueError as error:
            raise entry.error("name", str(error)) from None
        at = Moment(entry.choice("at", tuple(Moment))) if "at" in entry else None
        planned.append(PlannedFault(name, at, entry.number("after_s", 0.0, 3600.0) if "after_s" in entry else None))
        entry.done()
    return tuple(planned)


def _wrong_holes(table: Table, engine: SimEngine) -> dict[int, int]:
    """Told to put the hose into the first, the person puts it into the second, once."""
    found = {}
    for number in sorted(engine.firing_order):
        if str(number) in table:
            key = str(number)
            found[number] = _cylinder(table, engine, key, table.whole(key, 1, 24))
    table.done()
    return found


def _truth(table: Table, engine: SimEngine) -> dict[int, Truth]:
    result: dict[int, Truth] = {}
    for number in sorted(engine.firing_order):
        if str(number) in table:
            entry = table.table(str(number))
            result[number] = Truth(entry.number("leakage_percent", 0, 100), 1e-6 * entry.number("leak_area_mm2", 0, 1e5))
            entry.done()
    table.done()
    return result
