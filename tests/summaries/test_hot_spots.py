"""Where devices err: planted hot spots, planted quality figures, and lengths with a known bias."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, Truth, along_route, campaign, crosstrack, left_out_offsets, positions

from gpsq.model import CurveDistances
from gpsq.settings import Settings
from gpsq.summaries.hot_spots import distance_biases, error_by_quality, hot_spots


def _recorded(trace, hdop):
    """The recording with as many fixes as there are figures; positions are not looked at."""
    n, nothing = len(hdop), np.full(len(hdop), np.nan)
    never = np.full(n, np.datetime64("NaT", "ms"))
    return replace(
        trace, time=never, lon_deg=nothing, lat_deg=nothing, ele_m=nothing, hdop=hdop, sat=nothing,
        speed_mps=nothing, segment=np.zeros(n, int), point=np.arange(n), points=n,
    )  # fmt: skip


def _with_spread(routes, spread_m):
    return (replace(routes[0], centreline=replace(routes[0].centreline, spread_m=spread_m)),)


def test_a_planted_hot_spot_is_found_with_its_share_of_the_error():
    rng = np.random.default_rng(1)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=400), 6, rng)
    true[:, :, 200:240] *= 4
    offsets = left_out_offsets(true)
    traces, results, routes = campaign(offsets)
    spots = hot_spots(traces, results, _with_spread(routes, true.std(axis=(0, 1))), Settings())
    top = spots[0]
    assert top.from_m == pytest.approx(1000, abs=30)
    assert top.to_m == pytest.approx(1200, abs=30)
    assert top.times_typical == pytest.approx(4, rel=0.35)
    part = (offsets[..., 200:240] ** 2).sum() / (offsets**2).sum()
    assert top.share_of_error == pytest.approx(part, rel=0.1)
    assert top.share_of_length == pytest.approx(0.1, rel=0.2)
    assert list(spots) == sorted(spots, key=lambda s: -s.spread_m)


def test_an_even_route_has_no_hot_spot():
    traces, results, routes = campaign(np.ones((1, 3, 200)))
    assert hot_spots(traces, results, routes, Settings()) == ()


def test_error_follows_hdop_where_it_was_planted():
    rng = np.random.default_rng(2)
    hdop = np.tile(np.where(np.arange(200) < 100, 0.8, 4.0), (1, 6, 1))
    offsets = hdop * rng.standard_normal((1, 6, 200))
    traces, results, routes = campaign(offsets)
    line = routes[0].centreline.xy_m
    route = replace(routes[0].route, xy_m=tuple(line + 0.5 for _ in traces))
    recorded = tuple(_recorded(t, hdop[0, i]) for i, t in enumerate(traces))
    classes, trends = error_by_quality(recorded, results, (replace(routes[0], route=route),))
    assert [(c.low, c.high, c.fixes, c.rides) for c in classes] == [(0, 1, 600, 6), (2, 5, 600, 6)]
    assert [c.rms_m for c in classes] == pytest.approx([0.8, 4.0], rel=0.1)
    assert [(t.quantity, t.rides) for t in trends] == [("hdop", 6)]
    assert trends[0].correlation.low > 0.3


def test_no_quality_figures_give_no_rows():
    assert error_by_quality(*campaign(np.ones((1, 3, 50)))) == ((), ())


def _biased(offset_m, ratio, fixes):
    traces, results, _ = campaign(offset_m[None])
    curves = CurveDistances(1, 1, 1, 0, 1, 1, 1, ratio)
    length = offset_m.shape[1] * STEP_M
    recorded = tuple(_recorded(t, np.full(fixes, np.nan)) for t in traces)
    shown = tuple(replace(r, curves=curves, length_m=length) for r in results)
    return distance_biases(recorded, shown, Settings())[0]


def test_noise_explains_the_length_it_adds():
    # Offsets with error 2 m and correlation ρ between fixes 10 m apart. Ranacher et al. 2016 for one axis:
    # E[d²] = d₀² + 2σ²(1 − ρ), so d ≈ d₀ + σ²(1 − ρ)/d₀.
    rng = np.random.default_rng(3)
    rho = np.exp(-10 / 80)
    offsets = 2.0 * along_route((6, 2000), 80.0, rng)
    expected = 4 * (1 - rho) / 10**2
    found = _biased(offsets, 1 + expected, 1001)
    assert found.from_noise == pytest.approx(expected, rel=0.15)
    assert found.reason.endswith("all of it")


def test_a_short_track_with_little_noise_cut_corners():
    found = _biased(np.zeros((3, 100)) + 0.1, 0.96, 50)
    assert found.ratio.value == pytest.approx(0.96)
    assert "corners cut" in found.reason


def test_crosstrack_helper_counts_only_what_is_known():
    assert crosstrack(np.array([1.0, np.nan, -1.0])).scored.sum() == 2
