"""The restrictor from bore and orifices, against other code and drawn truth, and the reading of a reference orifice."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from typing import Any

import numpy as np
import pytest
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import (
    Orifice,
    OrificePoint,
    accept_reference,
    restrictor_of_bore,
    restrictor_of_one_orifice,
    restrictor_of_orifices,
)
from borewright.core.rig import CheckRefused
from scipy.optimize import brentq
from uncertainties import ufloat
from uncertainties.umath import log
from uncertainties.umath import sqrt as usqrt

P_AMBIENT, T_AIR, P_REGULATED = 101_325.0, 293.15, 551_580.58
AREAS_M2 = (0.3e-6, 0.8e-6, 1.4e-6, 2.2e-6)
CHOKED = 0.684731456  # √γ·(2/(γ+1))^((γ+1)/(2(γ−1))), White prints 0.685


def ellipse(ratio: float, b: float) -> float:
    """ISO 6358: √(1 − ((r − b)/(1 − b))²) above b."""
    return CHOKED * sqrt(1.0 - (max(ratio - b, 0.0) / (1.0 - b)) ** 2)


def settled(area_m2: float, b: float, orifice_m2: float) -> float:
    """The cylinder side's gauge pressure with this orifice on the hose; every orifice here is choked."""

    def surplus(p_abs: float) -> float:
        p_up = P_REGULATED + P_AMBIENT
        return area_m2 * p_up * ellipse(p_abs / p_up, b) - orifice_m2 * p_abs * CHOKED

    return float(brentq(surplus, P_AMBIENT / 0.528, P_REGULATED + P_AMBIENT)) - P_AMBIENT


def point(area_m2: float, p_cylinder: float, u_orifice: float = 0.003, u_p_pa: float = 100.0, **changes: Any) -> OrificePoint:
    orifice = Orifice(area_m2, u_orifice, f"O-{area_m2 * 1e6:.2f}", "2024-77")
    return replace(OrificePoint(orifice, P_REGULATED, p_cylinder, u_p_pa, P_AMBIENT, T_AIR), **changes)


@pytest.mark.parametrize(
    ("form", "low", "high"), [("sharp", 0.563, 0.788), ("short cylinder", 0.81, 0.84), ("rounded", 0.92, 0.93)]
)
def test_a_bore_is_as_uncertain_as_weisbachs_coefficients(form: Any, low: float, high: float) -> None:
    """Weisbach, discharge of air: the coefficients of the three forms."""
    fit = restrictor_of_bore(1.016e-3, form, 0.0)
    bore_m2 = pi / 4.0 * 1.016e-3**2
    ends = fit.area_m2 * (1.0 + sqrt(3.0) * fit.u_relative * np.array([-1.0, 1.0]))
    assert ends == pytest.approx([low * bore_m2, high * bore_m2], rel=1e-9)
    assert restrictor_of_bore(1.016e-3, form, 5e-6).u_relative > fit.u_relative
    assert fit.remark


def test_a_bore_of_unknown_form_spans_them_all() -> None:
    unknown = restrictor_of_bore(1.016e-3)
    assert unknown.u_relative > 0.14
    assert unknown.restrictor.area_m2 == unknown.area_m2


def test_one_orifice_with_its_uncertainty_as_the_uncertainties_package_has_it() -> None:
    orifice, p1, p2 = ufloat(0.8e-6, 0.003 * 0.8e-6), ufloat(P_REGULATED, 100.0), ufloat(settled(0.82e-6, 0.45, 0.8e-6), 100.0)
    tie = ufloat(1.0, 0.0002)
    up, down = p1 + P_AMBIENT, p2 * tie + P_AMBIENT
    r = down / up
    passes = usqrt(7.0 * (r ** (2.0 / 1.4) - r ** (2.4 / 1.4)))
    expected = log(orifice * down * CHOKED / (up * passes))
    fit = restrictor_of_one_orifice(point(0.8e-6, p2.nominal_value))
    assert np.log(fit.area_m2) == pytest.approx(expected.nominal_value, rel=1e-8)
    assert sqrt(fit.u_relative**2 - 0.01**2) == pytest.approx(expected.std_dev, rel=1e-3)  # 1 % is the curve's, on top
    assert fit.critical_ratio is None


def test_two_standard_uncertainties_hold_area_and_critical_ratio() -> None:
    rng = np.random.default_rng(8)
    area, b = 0.82e-6, 0.45
    true = [settled(area, b, orifice) for orifice in AREAS_M2]
    held_area, held_ratio = [], []
    for _ in range(600):
        tie = 1.0 + rng.normal(0.0, 0.0002)
        points = [
            point(
                orifice * (1.0 + rng.normal(0.0, 0.003)),
                p * tie + rng.normal(0.0, 100.0),
                p_regulated_gauge_pa=P_REGULATED + rng.normal(0.0, 100.0),
            )
            for orifice, p in zip(AREAS_M2, true, strict=True)
        ]
        fit = restrictor_of_orifices(points, 0.0002)
        assert fit.critical_ratio is not None
        held_area.append(abs(fit.area_m2 / area - 1.0) <= 2.0 * fit.u_relative)
        held_ratio.append(abs(fit.critical_ratio - b) <= 2.0 * fit.u_critical_ratio)
    assert 0.93 <= np.mean(held_area) <= 0.97
    assert 0.93 <= np.mean(held_ratio) <= 0.97


def test_exact_points_give_the_exact_restrictor() -> None:
    fit = restrictor_of_orifices([point(orifice, settled(0.7e-6, 0.3, orifice)) for orifice in AREAS_M2])
    assert fit.area_m2 == pytest.approx(0.7e-6, rel=1e-4)
    assert fit.critical_ratio == pytest.approx(0.3, abs=1e-3)
    assert fit.fits
    assert fit.chi2_reduced == pytest.approx(0.0, abs=1e-3)
    flow = fit.restrictor.mass_flow_kg_s(P_REGULATED + P_AMBIENT, 500e3, T_AIR)
    same = Restrictor(0.7e-6, 0.3).mass_flow_kg_s(P_REGULATED + P_AMBIENT, 500e3, T_AIR)
    assert float(flow) == pytest.approx(float(same), rel=1e-3)


def test_choked_orifices_do_not_hold_a_critical_ratio_and_the_fit_says_so() -> None:
    """Under b the restrictor passes the same whatever b is."""
    big = (1.6e-6, 1.9e-6, 2.3e-6)
    fit = restrictor_of_orifices([point(orifice, settled(0.82e-6, 0.6, orifice)) for orifice in big])
    assert fit.critical_ratio is None
    assert "not identifiable" in fit.remark
    assert fit.area_m2 == pytest.approx(0.82e-6, rel=0.01)
    assert fit.u_relative >= 0.01


def test_an_orifice_that_is_not_what_its_certificate_says_spoils_the_fit() -> None:
    points = [point(orifice, settled(0.82e-6, 0.45, orifice)) for orifice in AREAS_M2]
    points[1] = replace(points[1], orifice=replace(points[1].orifice, area_m2=0.84e-6))
    fit = restrictor_of_orifices(points)
    assert not fit.fits
    assert "disagree" in fit.remark
    good = restrictor_of_orifices([point(orifice, settled(0.82e-6, 0.45, orifice)) for orifice in AREAS_M2])
    assert fit.u_relative > 2.0 * good.u_relative


def test_what_the_certificates_share_does_not_average_out() -> None:
    points = [point(orifice, settled(0.82e-6, 0.45, orifice)) for orifice in AREAS_M2]
    alone, shared = restrictor_of_orifices(points), restrictor_of_orifices(points, u_common=0.004)
    assert shared.u_relative == pytest.approx(sqrt(alone.u_relative**2 + 0.004**2), rel=1e-9)


def test_what_cannot_carry_a_fit_is_refused() -> None:
    good = point(0.8e-6, settled(0.82e-6, 0.45, 0.8e-6))
    with pytest.raises(CheckRefused, match="three different orifices"):
        restrictor_of_orifices([good, good, good])
    with pytest.raises(CheckRefused, match="Nothing flowed"):
        restrictor_of_one_orifice(replace(good, p_cylinder_gauge_pa=P_REGULATED))
    with pytest.raises(CheckRefused, match="cannot be"):
        restrictor_of_one_orifice(replace(good, p_cylinder_gauge_pa=float("nan")))
    with pytest.raises(ValueError, match="bore_m"):
        restrictor_of_bore(-1.0)
    with pytest.raises(ValueError, match="area_m2"):
        Orifice(0.0, 0.01, "O", "")


def test_a_reference_orifice_is_accepted_within_both_uncertainties() -> None:
    orifice = Orifice(0.5e-6, 0.004, "O-5", "2024-77")
    assert accept_reference(orifice, 0.5049e-6, 0.0015e-6, 10.0, 0.05).passed  # 0.98 % of 2·√(0.4² + 0.3²) = 1 %
    refused = accept_reference(orifice, 0.5051e-6, 0.0015e-6, 10.0, 0.05)
    assert not refused.passed
    assert refused.words.startswith("the rig does not read its reference orifice: ")
    assert refused.allowed == pytest.approx(0.01)


def test_a_stated_leakage_counts_before_the_area() -> None:
    orifice = Orifice(0.5e-6, 0.004, "O-5", "2024-77", leakage_percent=9.8, u_leakage_percent=0.03)
    accepted = accept_reference(orifice, 0.9e-6, 0.001e-6, 9.89, 0.04)  # 0.09 within 2·√(0.03² + 0.04²) = 0.10
    assert accepted.passed
    assert accepted.quantity == "leakage"
    assert not accept_reference(orifice, 0.5e-6, 0.001e-6, 9.91, 0.04).passed
