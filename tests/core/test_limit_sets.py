"""Sets of limits as they come with the program, what a set may be, and when a test may bear a procedure's name."""

from __future__ import annotations

from math import inf, nan, pi

import pytest
from borewright.core.limit_sets import Band, Circumstances, LimitSet, Procedure, RestrictorOfBore
from borewright.service.limit_files import find_limits, known_limits

PSI_PA = 0.45359237 * 9.80665 / 0.0254**2  # exact: pound of 1959, standard gravity of 1901, inch of 1959
INCH_M = 0.0254
SMALL_M2 = pi / 4.0 * (0.040 * INCH_M) ** 2
LARGE_M2 = pi / 4.0 * (0.060 * INCH_M) ** 2
HOT_K = 360.0
AS_IT_SAYS = Circumstances(80.0 * PSI_PA, 0.9 * SMALL_M2, 0.0815, HOT_K)


def ac() -> LimitSet:
    return find_limits("AC 43.13-1B")


def test_common_practice_has_its_limits_and_says_what_it_is() -> None:
    """Common practice, no source: about 8 to 10 % freshly built, up to about 20 % serviceable, 5 to 10 % between cylinders."""
    usual = find_limits(None)
    assert (usual.name, usual.kind) == ("common practice", "common practice")
    assert [band.up_to_percent for band in usual.bands] == [10.0, 20.0, inf]
    assert usual.spread_percent == (5.0, 10.0)
    assert "common practice" in usual.source
    assert usual.procedure is None


def test_the_advisory_circular_has_its_one_limit() -> None:
    """AC 43.13-1B, paragraph 8-14 (read): more than 25 % of the input is suspect; recheck after at least 3 min running."""
    limits = ac()
    assert limits.kind == "published"
    assert [band.up_to_percent for band in limits.bands] == [25.0, inf]
    assert "suspect" in limits.bands[1].name
    assert "3 min" in limits.bands[1].name
    assert "AC 43.13-1B" in limits.source
    assert "airworthiness" in limits.caution


def test_a_loss_of_exactly_a_quarter_is_not_more_than_a_quarter() -> None:
    """Check table: 60 psi of 80 is 25 %."""
    assert ac().band_of(100.0 * (80.0 - 60.0) / 80.0) == ac().bands[0]
    assert ac().band_of(25.01) == ac().bands[1]


@pytest.mark.parametrize("name", sorted(known_limits()))
def test_bands_speak_in_words_of_what_to_do(name: str) -> None:
    """No colours of a traffic light, no pass and fail, and nowhere the second-hand hot limit."""
    text = known_limits()[name].lower()
    limits = find_limits(name)
    said = " ".join(
        [limits.name, limits.source, limits.caution, *(word for band in limits.bands for word in (band.name, band.words))]
    )
    for word in ("green", "amber", "yellow", "red ", "pass", "fail", "good", "bad"):
        assert word not in f"{said.lower()} ".replace("regulated ", "")
    assert "60/80" not in text
    assert len({band.name for band in limits.bands}) == len(limits.bands)


# ---------------------------------------------------------------------- the procedure


def test_a_test_made_as_the_circular_says_may_be_called_so() -> None:
    procedure = ac().procedure
    assert procedure is not None
    assert procedure.departures(AS_IT_SAYS) == ()
    assert any("0.250 in" in said for said in procedure.assumed)
    assert procedure.otherwise == "not the AC procedure"


@pytest.mark.parametrize(
    ("bore_in", "area_m2", "fits"),
    [  # FAA Safety Team tip, November 2011 (read): 0.040 in under 5.00 in of bore, 0.060 in from there on
        (4.99, SMALL_M2, True),
        (4.99, LARGE_M2, False),
        (5.00, LARGE_M2, True),
        (5.00, SMALL_M2, False),
        (5.25, 0.81 * LARGE_M2, True),  # Weisbach: a short cylinder passes 0.81 to 0.84
        (5.25, 0.70 * LARGE_M2, False),  # Weisbach: as a sharp orifice would
        (5.25, 1.10 * LARGE_M2, False),  # more than its bore can
    ],
)
def test_the_restrictor_has_to_be_that_of_the_bore(bore_in: float, area_m2: float, fits: bool) -> None:
    procedure = ac().procedure
    assert procedure is not None
    departures = procedure.departures(Circumstances(80.0 * PSI_PA, area_m2, bore_in * INCH_M, HOT_K))
    assert (departures == ()) is fits
    assert all("restrictor" in said for said in departures)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Circumstances(78.0 * PSI_PA, SMALL_M2, 0.08, HOT_K), ["under flow was 537.8 kPa (78.0 psi)"]),
        (Circumstances(82.0 * PSI_PA, SMALL_M2, 0.08, HOT_K), ["under flow was 565.4 kPa (82.0 psi)"]),
        (Circumstances(80.0 * PSI_PA, SMALL_M2, 0.08, 293.15), ["at 20 °C, not hot"]),
        (Circumstances(80.0 * PSI_PA, SMALL_M2, 0.08, None), ["temperature was not stated"]),
        (Circumstances(80.0 * PSI_PA, None, 0.08, HOT_K), ["bore or restrictor is not known"]),
        (Circumstances(80.0 * PSI_PA, SMALL_M2, None, HOT_K), ["bore or restrictor is not known"]),
        (Circumstances(), ["pressure under flow is not known", "bore or restrictor is not known", "was not stated"]),
    ],
)
def test_each_departure_is_said(found: Circumstances, said: list[str]) -> None:
    procedure = ac().procedure
    assert procedure is not None
    departures = procedure.departures(found)
    assert len(departures) == len(said)
    assert all(words in departure for words, departure in zip(said, departures, strict=True))


def test_a_bore_that_a_procedure_has_no_restrictor_for() -> None:
    small_only = Procedure("as ours", "not as ours", restrictors=(RestrictorOfBore(0.001, 0.1),))
    assert small_only.departures(Circumstances(bore_m=0.12, restrictor_area_m2=1e-6)) == (
        "it names no restrictor for a bore of 120.0 mm",
    )


# ---------------------------------------------------------------------- what a set may be


@pytest.mark.parametrize(
    ("bands", "spread", "why"),
    [
        ((), None, "bands: the last one"),
        ((Band("a", "-", 10.0),), None, "bands: the last one"),
        ((Band("a", "-"), Band("b", "-")), None, "bands: each end"),
        ((Band("a", "-", nan), Band("b", "-")), None, "bands: each end"),
        ((Band("a", "-", 100.0), Band("b", "-")), None, "bands: each end"),
        ((Band("a", "-", 0.0), Band("b", "-")), None, "bands: each end"),
        ((Band("a", "-", 20.0), Band("b", "-", 10.0), Band("c", "-")), None, "bands: their ends"),
        ((Band("a", "-", 10.0), Band("b", "-", 10.0), Band("c", "-")), None, "bands: their ends"),
        ((Band("a", "-", 10.0), Band("a", "-")), None, "bands: each must have a name"),
        ((Band("a", "-"),), (10.0, 5.0), "spread_percent"),
        ((Band("a", "-"),), (0.0, 5.0), "spread_percent"),
        ((Band("a", "-"),), (5.0, inf), "spread_percent"),
    ],
)
def test_a_set_that_cannot_be_is_refused(bands: tuple[Band, ...], spread: tuple[float, float] | None, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        LimitSet("shop", "own", "ours", bands, spread)


@pytest.mark.parametrize("leakage", [nan, inf, -inf])
def test_a_leakage_that_is_no_number_has_no_band(leakage: float) -> None:
    with pytest.raises(ValueError, match="leakage_percent"):
        find_limits(None).band_of(leakage)
