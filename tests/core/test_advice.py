"""From evidence to a reasoned list: what decides, what only may be, what has to be asked first."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from borewright.core.advice import NOT_YET, NOTHING, Advice, CylinderEvidence, advice_of
from borewright.core.engine import Engine
from borewright.core.shares import Share, Shares
from borewright.core.wet import wet_verdict
from hypothesis import given
from hypothesis import strategies as st

FOUR = Engine("invented four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
SINGLE = Engine("invented single", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6, cooling="air")
QUIET = dict.fromkeys(FOUR.places, "none")
LEAKS = CylinderEvidence(3, 35.0, 0.3, tests=(2,), heard=QUIET)


def shares(decided: bool = True, **percent: float) -> Shares:
    told = tuple(Share(place, value, max(value - 4.0, 0.0), value + 4.0, value * 1e-8) for place, value in percent.items())
    rest = Share("unattributed", 2.0, 0.0, 5.0, 2e-8)
    main = max(told, key=lambda share: share.percent).place
    return Shares(told, rest, decided, main, "it decides" if decided else "two places are too near to each other")


def lines(known: CylinderEvidence, engine: Engine = FOUR) -> list[Advice]:
    return [line for line in advice_of(engine, [known]) if line.cylinder == known.cylinder]


def test_a_share_that_decides_points_to_its_place_and_names_the_numbers() -> None:
    known = replace(LEAKS, heard=QUIET | {"exhaust": "strong"}, shares=shares(exhaust=80.0, breather=14.0))
    [line] = lines(known)
    assert (line.certainty, line.open) == ("points to", "the cylinder head, for the exhaust valve")
    assert line.evidence[0] == "exhaust has 80 % (76 to 84 %) of the leak"
    assert any("leakage 35.0 % ± 0.3 % (test 2)" in said for said in line.evidence)
    assert line.look_first.startswith("true TDC on the compression stroke, the exhaust valve's clearance")
    assert "the maker's manual gives the limits" in line.measure


def test_a_second_place_with_a_certain_part_has_a_line_of_its_own() -> None:
    known = replace(LEAKS, heard=QUIET | {"exhaust": "strong", "breather": "steady"}, shares=shares(exhaust=60.0, breather=36.0))
    assert [(line.certainty, "exhaust" in line.open) for line in lines(known)] == [("points to", True), ("may be", False)]


def test_what_is_not_decided_asks_for_a_test_and_opens_nothing() -> None:
    known = replace(LEAKS, shares=shares(decided=False, exhaust=50.0, intake=48.0), further_tests=("measure the flow at intake",))
    [line] = lines(known)
    assert (line.certainty, line.open, line.look_first) == ("undecided", NOT_YET, "measure the flow at intake")
    assert "two places are too near to each other" in line.evidence


@pytest.mark.parametrize(
    "asked", [{"questions": ("Is a valve held off its seat?",)}, {"contradictions": ("the hose is in another hole",)}]
)
def test_what_imitates_comes_before_what_is_opened(asked: dict[str, tuple[str, ...]]) -> None:
    known = replace(LEAKS, heard=QUIET | {"exhaust": "strong"}, shares=shares(exhaust=90.0), **asked)  # type: ignore[arg-type]
    first, second = lines(known)
    assert (first.certainty, first.open) == ("undecided", NOT_YET)
    assert next(iter(asked.values()))[0] in first.look_first
    assert second.certainty == "may be"


def test_a_cylinder_that_seals_is_left_closed_unless_water_says_otherwise() -> None:
    sound = CylinderEvidence(1, 6.0, 0.2, seals=True, heard=QUIET | {"breather": "steady"})
    [line] = lines(sound)
    assert line.open == NOTHING
    assert "nothing needs opening on this evidence" in line.look_first
    [bubbles] = lines(replace(sound, heard=QUIET | {"coolant": "faint"}))
    assert (bubbles.certainty, bubbles.open) == ("may be", "the cylinder head, for gasket and cracks")
    assert "pressed up cold" in bubbles.look_first


def test_air_at_a_neighbour_is_not_the_gaskets_while_a_shared_manifold_explains_it() -> None:
    # cylinder 3 at compression TDC: by the typical events 1 and 2 have their exhaust valves open
    through = [
        line for line in lines(replace(LEAKS, heard=QUIET | {"exhaust": "strong", "neighbours": "faint"})) if line.open == NOT_YET
    ]
    assert len(through) == 1
    assert "cylinder 1's exhaust valve, cylinder 2's exhaust valve open there now: it may come that way" in through[0].look_first
    [alone] = lines(replace(LEAKS, heard=QUIET | {"neighbours": "strong"}))
    assert (alone.certainty, "gasket between the two bores" in alone.open) == ("points to", True)


def test_by_ear_alone_only_one_clear_place_with_all_others_looked_at_points() -> None:
    everywhere = QUIET | {"breather": "strong"}
    assert lines(replace(LEAKS, heard=everywhere))[0].certainty == "points to"
    missing = {place: strength for place, strength in everywhere.items() if place != "coolant"}
    assert lines(replace(LEAKS, heard=missing))[0].certainty == "may be"
    assert lines(replace(LEAKS, heard=everywhere | {"intake": "faint"}))[0].certainty == "may be"
    [nowhere] = lines(LEAKS)
    assert "paint adapter and hose with soapy water" in nowhere.look_first
    assert lines(replace(LEAKS, heard={}))[0].open == NOT_YET


def test_the_wet_test_speaks_for_and_against_rings() -> None:
    at_rings = replace(LEAKS, heard=QUIET | {"breather": "strong"}, shares=shares(breather=90.0, exhaust=4.0))
    [for_it] = lines(replace(at_rings, wet=wet_verdict(1.0, 0.01, 0.5, 0.01)))
    assert for_it.certainty == "points to"
    assert any("with oil it leaks 50" in said for said in for_it.evidence)
    [against] = lines(replace(at_rings, wet=wet_verdict(1.0, 0.01, 1.0, 0.01)))
    assert against.certainty == "may be"
    assert any("against worn rings" in said for said in against.evidence)


def test_the_rings_of_a_two_stroke_are_one_line_wherever_they_are_heard() -> None:
    single = Engine("invented two-stroke", "two-stroke", (1,), (360.0,), 0.054, 0.0545, 0.110, 12e-6, cooling="air")
    quiet = dict.fromkeys(single.places, "none")
    heard = CylinderEvidence(1, 35.0, 0.3, heard=quiet | {"exhaust_port": "steady", "crankcase": "strong"})
    [by_ear] = lines(heard, single)
    assert (by_ear.certainty, by_ear.open) == ("points to", "the cylinder, for piston, rings and bore")
    assert sum(said.startswith("air at ") for said in by_ear.evidence) == 2
    # neither of the two has the most, and both are the rings
    [measured] = lines(replace(heard, shares=shares(False, exhaust_port=48.0, crankcase=47.0)), single)
    assert (measured.certainty, measured.open) == (by_ear.certainty, by_ear.open)
    [little] = lines(replace(heard, shares=shares(False, exhaust_port=20.0, crankcase=22.0)), single)
    assert little.certainty == "undecided"


SOUND = tuple(
    CylinderEvidence(n, 7.0, 0.2, seals=True, leak_area_m2=0.40e-6, heard=QUIET | {"breather": "steady", "exhaust": "faint"})
    for n in (1, 4)
)


def in_a_stage(*known: CylinderEvidence) -> dict[int, list[Advice]]:
    told = advice_of(FOUR, [*SOUND, *known])
    return {cylinder: [line for line in told if line.cylinder == cylinder] for cylinder in (0, *FOUR.cylinders)}


def test_strong_air_at_a_neighbour_points_to_the_gasket_between_the_two_and_not_to_rings_that_are_as_everywhere() -> None:
    # as the simulator's gasket between 2 and 3 is heard: 2 and 3 are at overlap for each other, so ports whisper too
    heard = QUIET | {"neighbours": "strong", "breather": "steady", "intake": "faint", "exhaust": "faint"}
    told = in_a_stage(
        *(
            CylinderEvidence(n, 39.0, 0.1, heard=heard, neighbours={beside: "strong"}, further_tests=("Measure.",))
            for n, beside in ((2, 3), (3, 2))
        )
    )
    for cylinder, beside in ((2, 3), (3, 2)):
        [line] = told[cylinder]
        assert (line.certainty, line.open) == ("points to", "the cylinder head, for the gasket between bores 2 and 3")
        assert line.evidence[0].startswith(f"air at neighbours, strong at cylinder {beside}; how much of the leak it is was not")
        assert "its plug hole is louder than intake and exhaust" in line.evidence[1]
        assert line.look_first.startswith("valves of the other cylinder that stand open now")
        assert any("air at breather, steady: no stronger than at cylinders 1, 4" in said for said in line.evidence)
    [both] = told[0]
    assert (both.certainty, both.open) == ("points to", told[2][0].open)
    assert both.evidence == tuple(f"cylinder {n}: air at neighbours, strong at cylinder {m}" for n, m in ((2, 3), (3, 2)))


def test_a_manifold_leads_only_through_an_open_valve_and_no_louder_than_it_is_itself() -> None:
    # cylinder 3 at compression TDC, firing order 1 3 4 2, common practice events: 1 has its exhaust valve open, 4 its intake valve
    def of(neighbour: int | None, strength: str, exhaust: str) -> list[Advice]:
        beside = {} if neighbour is None else {neighbour: strength}
        return lines(replace(LEAKS, heard=QUIET | {"exhaust": exhaust, "neighbours": strength}, neighbours=beside))

    first, way = of(1, "steady", "steady")
    assert "exhaust valve" in first.open
    assert (way.open, "cylinder 1's exhaust valve open there now" in way.look_first) == (NOT_YET, True)
    [shut, _] = of(4, "steady", "steady")
    assert "gasket between bores 3 and 4" in shut.open
    assert "no manifold leads there" not in " ".join(shut.evidence)  # its intake valve is open, and quiet
    assert "its plug hole is louder than intake" in " ".join(shut.evidence)
    assert "gasket" in of(1, "strong", "steady")[0].open
    # strong, and the way round is open: a line of its own, with that to look at first
    gasket, valve = of(1, "strong", "strong")
    assert (gasket.certainty, valve.certainty) == ("may be", "may be")
    assert gasket.look_first.startswith("air was heard at exhaust too, and cylinder 1's exhaust valve open there now")


def test_strong_bubbles_come_before_rings_and_rings_only_where_they_are_louder_or_leak_more_than_sound_ones() -> None:
    cracked = CylinderEvidence(2, 24.0, 0.1, heard=QUIET | {"coolant": "strong", "breather": "steady", "intake": "faint"})
    [line] = in_a_stage(cracked)[2]
    assert (line.certainty, line.open) == ("points to", "the cylinder head, for gasket and cracks")
    assert line.look_first.startswith("bubbles that come and go with the air")
    louder = replace(cracked, heard={**cracked.heard, "breather": "strong"})
    assert [("gasket" in line.open, "rings" in line.open) for line in in_a_stage(louder)[2]] == [(True, False), (False, True)]
    # nobody to compare with: steady air at the rings is every engine's
    [alone] = lines(replace(cracked, cylinder=3))
    assert "listen at the other cylinders and compare" in " ".join(alone.evidence)


def test_a_valve_points_by_ear_only_where_it_is_louder_than_what_is_usual() -> None:
    for exhaust, certainty in (("steady", "may be"), ("strong", "points to")):
        [line] = in_a_stage(CylinderEvidence(2, 24.0, 0.1, heard=QUIET | {"exhaust": exhaust, "breather": "steady"}))[2]
        assert (line.certainty, "exhaust valve" in line.open) == (certainty, True)


@pytest.mark.parametrize(("breather_mm2", "rings"), [(0.40, False), (0.55, False), (1.2, True)])
def test_a_share_at_the_rings_counts_where_its_area_is_clearly_above_that_of_sound_cylinders(
    breather_mm2: float, rings: bool
) -> None:
    crack_mm2 = 1.3
    percent = 100.0 * breather_mm2 / (breather_mm2 + crack_mm2)
    told = Shares(
        (
            Share("coolant", 98.0 - percent, 94.0 - percent, 100.0 - percent, crack_mm2 * 1e-6),
            Share("breather", percent, percent - 3.0, percent + 3.0, breather_mm2 * 1e-6),
        ),
        Share("unattributed", 2.0, 0.0, 5.0, 2e-8),
        True,
        "coolant",
        "it decides",
    )
    known = CylinderEvidence(2, 40.0, 0.1, heard=QUIET | {"coolant": "strong", "breather": "strong"}, shares=told)
    found = in_a_stage(known)[2]
    assert [line.open.startswith("the cylinder head, and then the piston") for line in found] == [False, True][: 1 + rings]
    assert ("not clearly more than at cylinders 1, 4" in " ".join(found[0].evidence)) is not rings
    # with no sound cylinder to compare, a measured part is a part
    assert len(advice_of(FOUR, [known])) == 2


def test_what_was_measured_counts_against_ears() -> None:
    heard = QUIET | {"intake": "strong", "exhaust": "steady"}
    [line] = lines(replace(LEAKS, heard=heard, shares=shares(exhaust=88.0, intake=6.0)))
    assert "exhaust valve" in line.open
    assert any(
        said.startswith("intake was heard strong, but has 6 % (2 to 10 %) of the leak by measurement") for said in line.evidence
    )
    first, second = lines(replace(LEAKS, heard=QUIET | {"neighbours": "strong"}, shares=shares(exhaust=88.0, neighbours=6.0)))
    assert ("exhaust valve" in first.open, second.certainty, "gasket" in second.open) == (True, "may be", True)


def test_what_was_found_nowhere_may_be_where_it_is_strong() -> None:
    # an orifice on a shared exhaust: air goes round it by the other cylinders' open valves
    nowhere = Share("unattributed", 75.0, 72.0, 78.0, 75e-8)
    told = replace(shares(False, breather=22.0, exhaust=3.0), main=None, unattributed=nowhere)
    known = replace(LEAKS, heard=QUIET | {"exhaust": "strong", "breather": "steady"}, shares=told, further_tests=("Stop it. Then",))
    first, second = lines(known)
    assert (first.certainty, "exhaust valve" in first.open) == ("may be", True)
    assert "75 % (72 to 78 %) of the leak was found at no place that was measured: it may be this" in first.evidence
    assert (second.certainty, second.look_first) == ("undecided", "Stop it")
    assert len(lines(replace(known, heard=QUIET | {"breather": "steady"}))) == 1


def test_a_sound_engine_stays_closed_whatever_its_rings_and_valves_let_by() -> None:
    heard = QUIET | {"breather": "steady", "exhaust": "faint", "neighbours": "faint"}
    told = advice_of(FOUR, [CylinderEvidence(n, 6.0, 0.2, seals=True, heard=heard) for n in FOUR.cylinders])
    assert [line.open for line in told] == [NOTHING] * 4
    assert all(line.look_first.startswith("nothing needs opening on this evidence") for line in told)


def test_both_sides_of_a_gasket_and_an_engine_that_leaks_alike() -> None:
    heard = QUIET | {"neighbours": "steady"}
    of_engine = [line for line in advice_of(FOUR, [replace(LEAKS, cylinder=n, heard=heard) for n in (2, 3)]) if line.cylinder == 0]
    assert [line.evidence for line in of_engine] == [
        ("cylinder 2: air at neighbours, steady", "cylinder 3: air at neighbours, steady")
    ]
    alike = advice_of(FOUR, [CylinderEvidence(n, 30.0 + n, 0.3) for n in FOUR.cylinders])
    assert alike[0].cylinder == 0
    assert "sealed check" in alike[0].look_first
    assert alike[0].certainty == "undecided"


def test_nothing_known_nothing_said() -> None:
    assert advice_of(FOUR, [CylinderEvidence(n) for n in FOUR.cylinders]) == ()
    [untested] = lines(CylinderEvidence(1, heard={"exhaust": "strong"}))
    assert (untested.open, "take a test" in untested.look_first) == (NOT_YET, True)


STRENGTHS = ("none", "faint", "steady", "strong")


@given(
    st.dictionaries(st.sampled_from(SINGLE.places), st.sampled_from(STRENGTHS)),
    st.none() | st.floats(0.0, 100.0),
    st.booleans(),
    st.booleans(),
    st.sampled_from([None, shares(exhaust=70.0, breather=20.0), shares(False, exhaust=45.0, breather=44.0)]),
)
def test_every_line_has_evidence_and_only_a_clean_case_points(
    heard: dict[str, str], leakage: float | None, seals: bool, asked: bool, measured: Shares | None
) -> None:
    questions = ("Is the adapter tight?",) if asked else ()
    known = CylinderEvidence(1, leakage, 0.3, seals=seals, heard=heard, shares=measured, questions=questions)
    for line in lines(known, SINGLE):
        assert line.evidence
        assert line.look_first
        assert line.measure
        if line.certainty == "points to" and line.open != NOTHING:
            assert not asked
            assert not seals
            assert (measured is not None and measured.decided) or set(heard) == set(SINGLE.places)
        assert (line.open == NOT_YET) == (line.certainty == "undecided")


@pytest.mark.parametrize(("dry", "wet"), list(product((0.3, 1.5), (0.0, 0.2, 0.9, 1.0, 1.1, 2.0))))
def test_wet_verdict_needs_more_than_its_uncertainty(dry: float, wet: float) -> None:
    found = wet_verdict(dry, 0.01 * dry, wet * dry, 0.01 * wet * dry)
    change = 100.0 * (wet - 1.0)
    assert found.change_percent == pytest.approx(change)
    # by hand: 1 % and 3 % of each side, combined and doubled
    expanded = 200.0 * (0.01**2 * (1 + wet**2) + 0.03**2 * (1 + wet**2)) ** 0.5
    assert found.expanded_percent == pytest.approx(expanded)
    assert found.verdict == ("tighter" if change < -expanded else "leaks more" if change > expanded else "no shown difference")
