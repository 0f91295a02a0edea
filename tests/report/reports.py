"""Reports made by hand, for the drawing alone."""

from __future__ import annotations

from dataclasses import replace
from math import exp

from borewright.report.model import (
    Bar,
    Block,
    Change,
    Chart,
    Course,
    Fact,
    Facts,
    Place,
    PlacesOf,
    Quantity,
    Report,
    Result,
    RigLine,
    Step,
    VoidTest,
)

NUMBERS = {"before": (7.7, 31.1, 6.7, 14.8), "after": (5.3, 6.7, 4.7, 7.7)}


def _band(leakage_percent: float) -> str:
    if leakage_percent > 20.0:
        return "open it up"
    return "leave it closed" if leakage_percent <= 10.0 else "use it, and test it again in time"


def _result(cylinder: int, stage: str, leakage_percent: float) -> Result:
    cylinder_psi = 79.2 * (1.0 - leakage_percent / 100.0)
    return Result(
        cylinder=cylinder,
        stage=stage,
        tests=str(cylinder),
        leakage=Quantity(f"{leakage_percent:.2f}", "0.06"),
        pair_psi=f"79/{cylinder_psi:.0f}",
        pair_kpa=f"546/{cylinder_psi * 6.895:.0f}",
        area=Quantity(f"{0.14 * leakage_percent**0.57:.3f}", "0.012"),
        volume=Quantity("72.0", "2.4"),
        band=_band(leakage_percent),
        letters="a" if cylinder == 3 else "",
    )


def _course(stage: str, half_s: float, *, filling: bool = False) -> Course:
    t_s = tuple(k * (0.5 if filling else 2.0) / 200 for k in range(201))
    rate = 0.6931 / half_s
    pressure = tuple(73.0 * ((1.0 - exp(-t * 9.0)) if filling else exp(-t * rate)) for t in t_s)
    return Course(stage, t_s, pressure, later=stage == "after")


def _chart(cylinder: int, before_s: float, after_s: float) -> Chart:
    return Chart(
        cylinder,
        (_course("before", before_s, filling=True), _course("after", after_s, filling=True)),
        (_course("before", before_s), _course("after", after_s)),
        f"half gone after {before_s:.2f} s before, {after_s:.2f} s after",
    )


def four() -> Report:
    """Before and after of a four-cylinder engine, with everything that a report may hold but photos."""
    return Report(
        title="Leak-down test report",
        job="Larch hill-climb four",
        engine="Larch 1600 hill-climb four (invented)",
        subtitle="before 2026-11-02, after 2026-11-28",
        shop="Alder Lane Engine Works",
        shop_contact="4 Alder Lane, Middleton · engines@alderlane.example",
        logo=None,
        facts=(
            Facts("Engine", (Fact("kind", "four-stroke, 4 cylinders"), Fact("bore × stroke", "81.5 × 76.6 mm"))),
            Facts("Job", (Fact("customer", "R. Holm & Söhne"), Fact("technician", "A. Birch"))),
            Facts("Condition", (Fact("before", "41 °C, 812 h"), Fact("after", "38 °C, 813 h"))),
        ),
        summary=(
            "Cylinders 2 and 3 are better; cylinders 1 and 4 show no difference.",
            "Before, cylinder 3 lost most of its air at the exhaust (88 %).",
        ),
        scope=Block(
            "Scope and cautions", ("An aid to judgement, no airworthiness or safety approval.", "The maker's manual comes first.")
        ),
        results=tuple(_result(n, stage, NUMBERS[stage][n - 1]) for n in (1, 2, 3, 4) for stage in ("before", "after")),
        changes=tuple(
            Change(n, "better" if n in (2, 3) else "no shown difference", ("−0.578 ± 0.021 mm²", "−24.4 ± 0.3 points"))
            for n in (1, 2, 3, 4)
        ),
        units=("mm²", "cm³"),
        table_notes=("U: expanded uncertainty, k = 2.", "Band by common practice; no document behind it."),
        charts=tuple(_chart(n, 0.4 + 0.05 * n, 0.6 + 0.05 * n) for n in (1, 2, 3, 4)),
        pressure_unit="psi",
        places=(
            PlacesOf(
                3,
                "before",
                "decided: most of it leaves at the exhaust",
                (
                    Place(
                        "exhaust", "strong", 3, Bar(88.0, 84.0, 92.0), "exhaust valve or its seat. Looks alike: carbon on the seat"
                    ),
                    Place("breather", "faint", 1, Bar(9.0, 5.0, 13.0), "rings or bore; imitated by cold dry rings"),
                    Place("not attributed", "", None, Bar(3.0, 0.0, 7.0)),
                ),
                ("nothing was noticed at: intake, coolant, neighbours",),
            ),
        ),
        steps=(
            Step("cylinder 3", "points to", (Fact("open", "cylinder head"), Fact("because", "31 % leakage, 88 % at the exhaust"))),
        ),
        steps_note="an aid to judgement: the maker's manual comes first",
        photos=(),
        rig=(
            RigLine("zero", "2026-11-28 10:02, A. Birch", "−1.12 and +4.06 kPa"),
            RigLine("span", "2026-05-02, A. Birch", "gain", "gauge no. 7, certificate C-12 of 2026-01-01"),
        ),
        voids=(VoidTest("7", "3", "before", "2026-11-02 10:40", "the crank left the window"),),
        shared_marks=("the restrictor is known at one pressure ratio only",),
        marks=(Fact("a", "the engine was cold"),),
        identity=(Fact("job", "0123456789abcdef0123456789abcdef"), Fact("tests", "3 4 5 6 / 9 10 11 12")),
        signatures=("tested by", "date", "signature"),
        caution="An aid to judgement.",
        made_unix_s=1_795_875_290.0,
    )


def of_many(count: int) -> Report:
    """An engine of so many cylinders."""
    base = four()
    return replace(
        base,
        results=tuple(replace(base.results[2 * (n % 4) + later], cylinder=n) for n in range(1, count + 1) for later in (0, 1)),
        changes=tuple(replace(base.changes[n % 4], cylinder=n) for n in range(1, count + 1)),
        charts=tuple(replace(base.charts[n % 4], cylinder=n) for n in range(1, count + 1)),
        places=tuple(replace(base.places[0], cylinder=n) for n in range(1, count + 1)),
    )
