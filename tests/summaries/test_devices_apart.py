"""Two devices that lie apart: said with the metres, and their cross-track errors are not set against each other."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trace_maker import road, shifted_left, smooth_noise, trace_on

from gpsq.pipeline.stages import analyse_traces
from gpsq.results import DevicesApart
from gpsq.settings import Settings
from gpsq.summaries import device_pairs
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.device_pairs import compare_pairs


def two_devices(shift_m: float, seed: int, days: int = 6, sd_m: float = 3.0):
    """Return an analysis of two equal devices on a road ridden both ways, the second `shift_m` to the left of the road."""
    rng, traces = np.random.default_rng(seed), []
    for day in range(days):
        for start_s, way in ((0.0, 1.0), (36_000.0, -1.0)):
            for device, shift in (("a", 0.0), ("b", shift_m)):
                xy = shifted_left(road(), shift + smooth_noise(rng, 401, sd_m))[:: int(way)]
                traces.append(trace_on(xy, device=device, day=day, start_s=start_s, file=f"{device}{day}{start_s}.gpx"))
    return analyse_traces(traces, Settings())


def compared(analysis):
    what = (analysis.traces, analysis.results, analysis.routes, analysis.settings)
    return next(c for c in compare_pairs(*what) if c.measure == "xte_p68_m")


def test_14_m_apart_is_told_and_not_compared():
    analysis = two_devices(14.0, 1)
    assert [(two.first, two.second) for r in analysis.routes for two in r.apart] == [("a", "b")] * 2
    notes = [n for n in analysis.notes if "surveyed" in n]
    assert len(notes) == 2
    for note in notes:
        metres = int(re.search(r"lie (\d+) m apart", note)[1])
        assert metres == pytest.approx(14, abs=1)
    found = compared(analysis)
    assert np.isnan([found.p, found.difference.value, found.detectable]).all()
    assert "which is right cannot be known without a surveyed line" in found.verdict
    assert found.rides == 12


def test_of_several_ways_the_widest_distance_is_told():
    wide, narrow = (
        [SimpleNamespace(apart=(DevicesApart("a", "b", m, 1.0, 1.0),)) for m in ms] for ms in ((9.0, 14.0), (9.0,))
    )
    assert device_pairs._why_withheld({"a", "b"}, wide).startswith("they lie 14 m apart")
    assert device_pairs._why_withheld({"b", "a"}, narrow).startswith("they lie 9 m apart")
    assert device_pairs._why_withheld({"a", "c"}, wide) == ""


def test_devices_that_agree_are_compared():
    found = compared(two_devices(0.0, 2))
    assert np.isfinite(found.p)
    assert "surveyed" not in found.verdict


def test_repeatability_and_first_fix_are_compared_all_the_same():
    analysis = two_devices(14.0, 3)
    found = summarise(analysis.traces, analysis.results, analysis.routes, analysis.settings)
    by_device = {d.device: d.figures["repeatability_m"].value for d in found if d.route == ""}
    assert by_device["a"] == pytest.approx(3.0, rel=0.1)
    assert by_device["b"] == pytest.approx(3.0, rel=0.25)


@settings(max_examples=10, deadline=None)
@given(st.floats(-60.0, 60.0), st.integers(0, 5))
def test_a_device_shifted_sideways_by_any_amount_never_wins(shift_m, seed):
    """The two are equal but for the shift, so nothing may call the shifted one the better."""
    found = compared(two_devices(shift_m, seed, days=5))
    assert not (found.difference.value > 0.0 and found.p_adjusted < 0.01)
    assert "a errs more than b" not in found.verdict or found.p_adjusted > 0.01
