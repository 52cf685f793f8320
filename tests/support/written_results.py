"""Results folders written by hand, with what a comparison of campaigns reads of them."""

from __future__ import annotations

import json

import numpy as np

ROAD = np.column_stack([np.linspace(10.0, 10.05, 300), np.full(300, 50.0)])
TRACKS = "file,track,device,ride,route,ttff_s,censored,start_state,interval_s,xte_p68_m"
DEVICES = (
    "device,route,rides,ttff_median_s,ttff_low_s,ttff_high_s,fixed_in_30s,xte_p95_m,xte_p95_low_m,xte_p95_high_m,"
    "repeatability_m,repeatability_low_m,repeatability_high_m"
)


def results(folder, title, road, devices, tracks):
    """Write what a comparison reads of a results folder."""
    folder.mkdir()
    (folder / "run.json").write_text(json.dumps({"title": title}))
    (folder / "devices.csv").write_text("\n".join([DEVICES, *devices]) + "\n")
    (folder / "tracks.csv").write_text("\n".join([TRACKS, *tracks]) + "\n")
    line = {"type": "LineString", "coordinates": road.tolist()}
    features = [{"type": "Feature", "properties": {"route": "A"}, "geometry": line}]
    (folder / "centrelines.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return folder


def one(tmp_path, name, title="Week 1", road=ROAD, quick=5, rough=4.0):
    rides = range(1, 7)
    tracks = [f"q{i}.gpx,1,quick,R{i},A,{quick + i},false,hot,1,{3 + i / 10}" for i in rides]
    tracks += [
        f"s{i}.gpx,1,slow,R{i},A,{40 + 10 * i},{'true' if i == 6 else 'false'},hot,1,{rough + i / 10}" for i in rides
    ]
    devices = [
        f"quick,,6,{quick},,,1,3.3,,,3,2,4",
        f"quick,A,6,{quick},,,1,3.3,3.0,3.6,3,2,4",
        f"slow,A,6,75,,,0,{rough},,,{rough},,",
    ]
    return results(tmp_path / name, title, road, devices, tracks)
