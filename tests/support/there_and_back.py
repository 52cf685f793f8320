"""Rides there and back on a road laid out by hand: those out are first fixed on the way, those back end where it begins."""

from __future__ import annotations

import dataclasses

import numpy as np
from trace_maker import road, shifted_left, smooth_noise, trace_on

from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings

#: A vertex every 5 m; all ride one a second.
ROAD = road(2500.0)


def both_ways(fixed_at=(60, 66, 74, 82), stops_m=(2500.0, 2496.0, 2503.0, 2492.0), *, out=None, back=None):
    """Return rides out, first fixed at vertices of the road, and rides back that end where the road begins."""
    rng = np.random.default_rng(7)
    traces = []
    for day, (cut, stop_m) in enumerate(zip(fixed_at, stops_m, strict=True)):
        way = shifted_left(ROAD, smooth_noise(rng, len(ROAD), 1.0) - 2.0)
        traces.append(trace_on(way[cut:], day=day, file=f"out{day}.gpx", **(out or {})))
        home = shifted_left(ROAD[::-1], smooth_noise(rng, len(ROAD), 1.0) - 2.0)
        kept = round(stop_m / 5.0) + 1
        traces.append(trace_on(home[:kept], day=day, start_s=20_000.0, file=f"back{day}.gpx", **(back or {})))
    return traces


def outward(traces):
    found = analyse_traces(traces, Settings())
    pairs = [(t, r) for t, r in zip(found.traces, found.results, strict=True) if t.file.startswith("out")]
    assert len(found.routes) == 2
    return [(r.first_fix, r) for _, r in sorted(pairs, key=lambda pair: pair[0].file)], found


def stood(trace, seconds):
    """Return a trace whose rider stood at its beginning for so long, a fix a second."""
    still = {
        name: np.concatenate([np.repeat(getattr(trace, name)[:1], seconds), getattr(trace, name)])
        for name in ("lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment")
    }
    count = trace.accepted + seconds
    time = trace.time[0] + np.arange(count) * np.timedelta64(1, "s")
    return dataclasses.replace(trace, **still, time=time, point=np.arange(count), points=count)


def summed(traces):
    """Return the analysis of traces with its summaries, as a whole run gives it."""
    from gpsq.summaries.summarise import summaries

    found = analyse_traces(traces, Settings())
    return dataclasses.replace(found, title="There and back", summaries=summaries(found))
