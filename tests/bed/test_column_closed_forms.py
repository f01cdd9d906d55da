"""Beds against closed forms at the default grid of 100 cells: within 1 %, and the error shrinks with the grid."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.special import erf
from scipy.stats import ncx2

from diagnostics.bed.column import exchange_rates, pore_rate_1_s
from diagnostics.bed.isotherm import Desiccant, Langmuir, Linear
from tests.bed.closed_form import (
    BULK_KG_M3,
    KELVIN,
    LENGTH_M,
    PRESSURE_PA,
    SPEED_M_S,
    concentration,
    isothermal_front,
    packing_of,
)
from tests.bed.rows import rows


def _j(xi, tau):
    """Exact outlet of a linear bed (Anzelius 1926, Schumann 1929) as the tail of a non-central chi-square."""
    return ncx2.sf(2.0 * xi, 2, 2.0 * np.asarray(tau))


def _linear_bed(xi, cells, law="gas"):
    henry = 1e-4
    slope = BULK_KG_M3 * henry / concentration(1.0)
    rate = xi * SPEED_M_S / (slope * LENGTH_M)
    packing = packing_of(Linear(henry), cells=cells, law=law, conductance_1_s=rate * slope, solid_rate_1_s=rate)
    return packing, rate


def test_the_oracle_is_the_tabled_j_function():
    for row in rows("linear_LDF_exact_J"):
        assert _j(**row["inputs"]) == pytest.approx(row["expected"], rel=1e-6)
    for row in rows("linear_LDF_solid_loading"):
        i = row["inputs"]
        assert 1.0 - _j(i["tau"], i["xi"]) == pytest.approx(row["expected"], rel=1e-6)
    for row in rows("J_identity"):
        i = row["inputs"]
        assert _j(i["xi"], i["tau"]) + _j(i["tau"], i["xi"]) - 1.0 == pytest.approx(row["expected"], abs=1e-8)


@pytest.mark.parametrize("law", ["gas", "solid"])
@pytest.mark.parametrize(
    "row", rows("linear_LDF_exact_J"), ids=lambda r: f"xi{r['inputs']['xi']}tau{r['inputs']['tau']}"
)
def test_linear_bed_meets_the_exact_front_at_the_default_grid(row, law):
    xi, tau = row["inputs"]["xi"], row["inputs"]["tau"]
    packing, rate = _linear_bed(xi, 100, law)
    front = isothermal_front(packing, 20.0, 1.02 * tau / rate, 600)
    outlet = float(np.interp(tau / rate, front.time_s, front.share))
    assert outlet == pytest.approx(row["expected"], rel=0.01, abs=5e-4)  # share of the feed


@pytest.mark.parametrize("law", ["gas", "solid"])
def test_fourth_order_in_space_on_a_smooth_front(law):
    # 320 cells stand for the limit, so that the error in time is the same on both sides.
    def loading(cells):
        packing, rate = _linear_bed(20.0, cells, law)
        bed = isothermal_front(packing, 20.0, 18.0 / rate, 300).loading
        return bed.reshape(20, -1).mean(axis=1)

    finest = loading(320)
    errors = [np.abs(loading(cells) - finest).max() / finest.max() for cells in (20, 40, 80)]
    assert errors[2] < 3e-5
    for coarse, fine in pairwise(errors):
        # Limited slopes at the foot of the front cost a part of the fourth order.
        assert 2.7 < math.log2(coarse / fine) < 4.7


def test_outlet_meets_the_exact_front_faster_than_by_the_second_order():
    errors = []
    for cells in (10, 20):
        packing, rate = _linear_bed(20.0, cells)
        front = isothermal_front(packing, 20.0, 40.0 / rate, 3200)
        errors.append(np.abs(front.share - _j(20.0, front.time_s * rate)).max())
    assert errors[1] < 3e-4
    assert math.log2(errors[0] / errors[1]) > 2.5


def test_second_order_in_time():
    packing, rate = _linear_bed(20.0, 60)
    duration = 24.0 / rate
    finest = isothermal_front(packing, 20.0, duration, 4096).loading
    errors = [np.abs(isothermal_front(packing, 20.0, duration, n).loading - finest).max() for n in (32, 64, 128)]
    for coarse, fine in pairwise(errors):
        assert math.log2(coarse / fine) > 1.7


def test_klinkenberg_s_approximation_is_where_it_says():
    # Klinkenberg 1954: within 0.6 % of full scale for xi > 2.
    for row in rows("klinkenberg"):
        xi, tau = row["inputs"]["xi"], row["inputs"]["tau"]
        root = math.sqrt(tau) - math.sqrt(xi) + 1.0 / (8.0 * math.sqrt(tau)) + 1.0 / (8.0 * math.sqrt(xi))
        assert 0.5 * (1.0 + erf(root)) == pytest.approx(row["expected"], rel=1e-6)
        if xi > 2:
            packing, rate = _linear_bed(xi, 100)
            front = isothermal_front(packing, 20.0, 1.02 * tau / rate, 600)
            assert float(np.interp(tau / rate, front.time_s, front.share)) == pytest.approx(row["expected"], abs=0.006)


def _langmuir_bed(units, r, cells, law):
    """Langmuir beads with separation factor r = 1/(1 + b c0) and as many transfer units at the feed's loading."""
    feed_pa = 20.0
    b = (1.0 / r - 1.0) / feed_pa if r > 0 else 1e6
    qs = 0.02
    filled = qs * b * feed_pa / (1.0 + b * feed_pa)
    ratio = BULK_KG_M3 * filled / concentration(feed_pa)
    rate = units * SPEED_M_S / (ratio * LENGTH_M)
    packing = packing_of(Langmuir(qs, b), cells=cells, law=law, conductance_1_s=rate * ratio, solid_rate_1_s=rate)
    return packing, feed_pa, rate


@pytest.mark.parametrize("row", rows("thomas_langmuir"), ids=lambda r: f"N{r['inputs']['N']}NT{r['inputs']['NT']}")
def test_thomas_reversible_second_order_front(row):
    # Thomas 1944; N transfer units, NT = N x throughput.
    n, nt, r = row["inputs"]["N"], row["inputs"]["NT"], row["inputs"]["r"]
    top, other = _j(r * n, nt), _j(n, r * nt)
    exact = top / (top + (1.0 - other) * math.exp((r - 1.0) * (nt - n)))
    assert exact == pytest.approx(row["expected"], rel=1e-4)
    packing, feed_pa, rate = _langmuir_bed(n, r, 100, "sites")
    front = isothermal_front(packing, feed_pa, 1.02 * nt / rate, 800)
    outlet = float(np.interp(nt / rate, front.time_s, front.share))
    assert outlet == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("row", rows("bohart_adams"), ids=lambda r: f"N{r['inputs']['N']}NT{r['inputs']['NT']}")
def test_bohart_adams_irreversible_front(row):
    # Bohart & Adams 1920, the limit r -> 0.
    n, nt = row["inputs"]["N"], row["inputs"]["NT"]
    exact = math.exp(nt) / (math.exp(nt) + math.exp(n) - 1.0)
    assert exact == pytest.approx(row["expected"], rel=1e-5)
    packing, feed_pa, rate = _langmuir_bed(n, 1e-4, 100, "sites")
    front = isothermal_front(packing, feed_pa, 1.02 * nt / rate, 800)
    assert float(np.interp(nt / rate, front.time_s, front.share)) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(
    ("law", "name"),
    [("solid", "constant_pattern_langmuir_solid_LDF"), ("gas", "constant_pattern_langmuir_film")],
)
def test_constant_pattern_of_a_langmuir_front(law, name):
    # Glueckauf & Coates 1947 / Michaels 1952 forms; a bed of 15 units has formed its pattern to better than 1 %.
    for r in sorted({row["inputs"]["r"] for row in rows(name)}):
        packing, feed_pa, rate = _langmuir_bed(15.0, r, 100, law)
        front = isothermal_front(packing, feed_pa, 30.0 / rate, 600)
        for row in (row for row in rows(name) if row["inputs"]["r"] == r):
            low, high = row["inputs"]["X1"], row["inputs"]["X2"]
            growth, decay = math.log(high / low), math.log((1.0 - low) / (1.0 - high))
            exact = (r * growth + decay) / (1.0 - r) if law == "solid" else (growth + r * decay) / (1.0 - r)
            assert exact == pytest.approx(row["expected"], rel=1e-6)
            times = [float(np.interp(level, front.share, front.time_s)) for level in (low, high)]
            assert (times[1] - times[0]) * rate == pytest.approx(exact, rel=0.01)


def _foot_error(units, cells):
    """Of the steepest row: solid law, r = 0.1, 0.001 to 0.05 of the feed in 0.49 of 1/k, which is two cells of 100."""
    row = next(r for r in rows("constant_pattern_langmuir_solid_LDF") if r["inputs"]["X1"] == 0.001)
    packing, feed_pa, rate = _langmuir_bed(units, row["inputs"]["r"], cells, "solid")
    front = isothermal_front(packing, feed_pa, 1.3 * units / rate, int(25 * units))
    # The foot is exponential in time, so it is read between the steps on the logarithm.
    grown = np.log(np.maximum(front.share, 1e-12))
    times = [float(np.interp(math.log(row["inputs"][end]), grown, front.time_s)) for end in ("X1", "X2")]
    return abs((times[1] - times[0]) * rate / row["expected"] - 1.0)


@pytest.mark.parametrize("units", [15.0, 20.0, 25.0])
def test_steepest_foot_of_the_constant_pattern_at_the_default_grid(units):
    assert _foot_error(units, 100) < 0.005


def test_constant_pattern_converges_with_the_grid():
    coarse, fine = _foot_error(20.0, 50), _foot_error(20.0, 100)
    assert coarse < 0.05
    assert math.log2(coarse / fine) > 3.0


def test_stoichiometric_time_and_area_above_the_front():
    # The area above the breakthrough curve is the stoichiometric time, whatever the front's shape (mass balance).
    packing, feed_pa, rate = _langmuir_bed(25.0, 0.3, 100, "solid")
    front = isothermal_front(packing, feed_pa, 120.0 / rate, 1200)
    area = float(np.sum(1.0 - front.share) * (front.time_s[1] - front.time_s[0]))
    assert area * rate == pytest.approx(25.0, rel=1e-3)


def test_shock_speed_and_stoichiometric_time_rows():
    speed, time = rows("shock_velocity")[0], rows("stoichiometric_time_L1.2m")[0]
    i = speed["inputs"]
    u_shock = i["u_superficial"] / (i["eps_total"] + i["rho_bulk"] * i["q0"] / i["c0"])
    assert u_shock == pytest.approx(speed["expected"], rel=1e-4)
    # The bed leaves gas storage out and counts time from the gas front on, which adds the void's passing time.
    b = 1e3 / concentration(1.0)
    feed_pa = i["c0"] / concentration(1.0)
    qs = i["q0"] * (1.0 + b * feed_pa) / (b * feed_pa)
    packing = packing_of(Langmuir(qs, b), cells=100, conductance_1_s=20.0)
    front = isothermal_front(packing, feed_pa, 1.2 * time["expected"], 2000)
    half = float(np.interp(0.5, front.share, front.time_s)) + i["eps_total"] * LENGTH_M / SPEED_M_S
    assert half == pytest.approx(time["expected"], rel=5e-3)


def test_dispersion_widens_a_linear_front_by_its_second_moment():
    # Ruthven 1984: 1/k_eff = 1/k + D/u2 (u superficial here, on conductance per bed volume), second moment 2 xi.
    packing, rate = _linear_bed(30.0, 200)
    assert packing.conductance_1_s is not None
    spread = packing_of(
        packing.desiccant.isotherm,
        cells=200,
        conductance_1_s=packing.conductance_1_s,
        dispersion_m2_s=SPEED_M_S**2 / packing.conductance_1_s,
    )
    front = isothermal_front(spread, 20.0, 90.0 / rate, 1500)
    assert np.abs(front.share - _j(15.0, front.time_s * rate / 2.0)).max() < 5e-3


def test_glueckauf_and_wakao_funazkri_rows():
    gas = rows("glueckauf_gas_side")[0]
    # void x D / tortuosity = De, per bead: divide the bed's value by the beads' share of the volume.
    desiccant = Desiccant("row", Linear(1.0), 770.0, 0.38, 0.5, 3.0, 2.8e6, tortuosity=1.0)
    per_bead = pore_rate_1_s(desiccant, 1e5, 298.15) / 0.62
    assert per_bead == pytest.approx(15.0 * 0.5 * 2.6e-5 / 0.0015**2, rel=1e-9)
    assert 15.0 * gas["inputs"]["De"] / gas["inputs"]["rp"] ** 2 == pytest.approx(gas["expected"], rel=1e-9)
    packing = packing_of(Linear(1e-4), cells=10)
    mass, heat = exchange_rates(packing, SPEED_M_S * 9.06, PRESSURE_PA, KELVIN)
    # At rating pores rule and the bed exchanges heat some fifty times faster than water (no published source).
    assert 0.5 < mass < 5.0
    assert 5e4 < heat < 5e5
