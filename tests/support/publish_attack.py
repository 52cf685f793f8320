"""An attacker who has all published files of a campaign, knows how gpsq cuts, and wants the ends of the routes.

Everything here is worked out from the published tables and layers alone. Each attack gives one guess per end of a
route, in degrees; the tests compare the guesses with the true ends.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from gpsq.plane import Plane

if TYPE_CHECKING:
    from pathlib import Path

#: Speeds of a rider and distances that an attacker may believe in; the cuts are documented, so their size is known.
SPEED_MPS = 5.0
CARRY_M = (100, 200, 300, 425, 600, 800, 1000, 1300)
TAILS_M = (15, 60, 150, 300)


@dataclass(frozen=True, eq=False)
class Seen:
    """One end of one route as published: its line from there on, and its recordings from there on, in metres."""

    route: str
    is_start: bool
    plane: Plane
    line: np.ndarray
    tracks: list[tuple[pd.Series, np.ndarray]]
    support: np.ndarray
    everything: np.ndarray


def seen(folder: Path) -> list[Seen]:
    """Read a published folder."""
    lines = {
        f["properties"]["route"]: np.array(f["geometry"]["coordinates"])
        for f in json.loads((folder / "centrelines.geojson").read_text())["features"]
        if f["geometry"]["type"] == "LineString"
    }
    table = pd.read_csv(folder / "tracks.csv")
    drawn = geopandas.read_file(folder / "results.gpkg", layer="tracks")
    stations = geopandas.read_file(folder / "results.gpkg", layer="stations")
    assert list(drawn["file"]) == list(table["file"])[: len(drawn)]
    found = []
    for route, line in lines.items():
        plane = Plane(*map(float, line.mean(axis=0)))
        rows = [i for i in range(len(drawn)) if table.loc[i, "route"] == route and drawn.geometry[i] is not None]
        tracks = [(table.loc[i], plane.to_metres(*_vertices(drawn.geometry[i]).T)) for i in rows]
        everything = np.vstack([plane.to_metres(*line.T), *(xy for _, xy in tracks)])
        support = stations.loc[stations["route"] == route, "support"].to_numpy()
        line_m = plane.to_metres(*line.T)
        for is_start in (True, False):
            step = 1 if is_start else -1
            turned = [(row, xy[::step]) for row, xy in tracks]
            found.append(Seen(route, is_start, plane, line_m[::step], turned, support[::step], everything))
    return found


def _vertices(shape: Any) -> np.ndarray:
    return np.vstack([np.array(part.coords)[:, :2] for part in shape.geoms])


def carried_on(line: np.ndarray, far_m: float, tail_m: float) -> np.ndarray:
    """Return the place `far_m` straight on beyond the beginning of a line, in the direction of its first metres."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    back = line[0] - line[min(int(np.searchsorted(along, tail_m)), len(line) - 1)]
    return line[0] + far_m * back / max(float(np.hypot(*back)), 1e-9)


def bent_on(line: np.ndarray, far_m: float) -> np.ndarray:
    """Return the place `far_m` beyond a line that goes on bending as over its first 200 m."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    near, far = (line[min(int(np.searchsorted(along, m)), len(line) - 1)] for m in (40.0, 200.0))
    headings = [np.arctan2(*(line[0] - place)[::-1]) for place in (near, far)]
    turn = float(np.angle(np.exp(1j * (headings[0] - headings[1])))) / 80.0
    steps = np.arange(0.0, far_m, 10.0)
    heading = headings[0] + turn * steps
    return line[0] + 10.0 * np.column_stack([np.cos(heading), np.sin(heading)]).sum(axis=0)


def circle_centre(points: np.ndarray) -> np.ndarray | None:
    """Return the centre of the circle of 300 to 3000 m that best goes through points, None where they are one spot."""
    if len(points) < 3 or np.ptp(points, axis=0).max() < 1.0:
        return None
    middle = points.mean(axis=0)

    def slopes(p: np.ndarray) -> np.ndarray:
        away = p[:2] - points
        return np.column_stack([away / np.maximum(np.hypot(*away.T), 1e-9)[:, None], np.full(len(points), -1.0)])

    fits = [
        least_squares(
            lambda p: np.hypot(*(points - p[:2]).T) - p[2],
            [*(middle + 700.0 * np.array([np.cos(a), np.sin(a)])), 700.0],
            jac=slopes,
            bounds=([*(middle - 5000.0), 300.0], [*(middle + 5000.0), 3000.0]),
        )
        for a in np.linspace(0.0, 2 * np.pi, 3, endpoint=False)
    ]
    return np.asarray(min(fits, key=lambda fit: fit.cost).x[:2])


def guesses(end: Seen, others: list[Seen]) -> dict[str, np.ndarray]:
    """Return a guess in degrees for each attack on one end."""
    found = {"the line's end": end.line[0]}
    for tail in TAILS_M:
        found |= {f"straight on {far} m by the last {tail} m": carried_on(end.line, far, tail) for far in CARRY_M}
    found |= {f"bending on {far} m": bent_on(end.line, far) for far in CARRY_M}
    found |= _averages(end) | _circles(end, others) | _boxes(end) | _hidden_lengths(end)
    return {name: np.array([v[0] for v in end.plane.to_degrees(xy[None, :])]) for name, xy in found.items()}


def _averages(end: Seen) -> dict[str, np.ndarray]:
    starts = np.array([xy[0] for _, xy in end.tracks])
    near = starts[np.hypot(*(starts - end.line[0]).T) < 150.0]
    if len(near) == 0:
        return {}
    far = [carried_on(xy, 425.0, 100.0) for _, xy in end.tracks if np.hypot(*(xy[0] - end.line[0])) < 150.0]
    return {"mean of the tracks' ends": near.mean(axis=0), "mean of the tracks carried on": np.mean(far, axis=0)}


def _circles(end: Seen, others: list[Seen]) -> dict[str, np.ndarray]:
    own = [xy[0] for _, xy in end.tracks if np.hypot(*(xy[0] - end.line[0])) < 100.0]
    here = end.plane.to_metres
    all_ends = list(own)
    lines = [end.line[0]]
    for other in others:
        where = here(*other.plane.to_degrees(np.array([other.line[0], *(xy[0] for _, xy in other.tracks)])))
        if other is not end and np.hypot(*(where[0] - end.line[0])) < 2500.0:
            all_ends += [p for p in where[1:] if np.hypot(*(p - where[0])) < 100.0]
            lines.append(where[0])
    found = {"circle through the tracks' ends": circle_centre(np.array(all_ends))}
    found["circle through this route's tracks' ends"] = circle_centre(np.array(own))
    found["middle of the lines' ends"] = np.mean(lines, axis=0) if len(lines) > 1 else None
    return {name: value for name, value in found.items() if value is not None}


def _boxes(end: Seen) -> dict[str, np.ndarray]:
    low, high = end.everything.min(axis=0), end.everything.max(axis=0)
    corners = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
    found = {"corner of the bounding box": corners[np.argmin(np.hypot(*(corners - end.line[0]).T))]}
    x, y = end.line[0]
    sides = np.array([[low[0], y], [high[0], y], [x, low[1]], [x, high[1]]])
    return found | {"side of the bounding box": sides[np.argmin(np.hypot(*(sides - end.line[0]).T))]}


def hidden_lengths(end: Seen) -> dict[str, float]:
    """Return how long the hidden part at one end may be, worked out from the figures, in metres."""
    found: dict[str, float] = {}
    shown_m = float(np.hypot(*np.diff(end.line, axis=0).T).sum())
    rows = [row for row, _ in end.tracks]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(end.line, axis=0).T))])
    if end.is_start:
        begins = [along[int(np.argmin(np.hypot(*(end.line - xy[0]).T)))] for _, xy in end.tracks]
        late = [(row, x) for row, x in zip(rows, begins, strict=True) if x > 25.0]
        if late:
            found["what late fixes missed"] = float(np.median([row["missed_m"] - x for row, x in late]))
            found["what late fixes took"] = float(np.median([row["ttff_s"] * SPEED_MPS - x for row, x in late]))
            found["settling"] = float(np.median([(row["ttff_s"] + row["settle_s"]) * SPEED_MPS - x for row, x in late]))
        missed = np.array([row["missed_m"] for row in rows])
        steps = np.arange(0.0, 1500.0, 10.0)
        counts = [(missed <= along[:, None] + h).sum(axis=1) for h in steps]
        found["number of tracks"] = float(steps[np.argmin([np.abs(c - end.support).sum() for c in counts])])
    late_rows = [row for row in rows if row["missed_m"] > 20.0]
    wholes = [
        *(row["missed_m"] / row["missed_share"] for row in late_rows if row["missed_share"] > 0),
        *(row["missed_m"] / (1 - row["coverage"]) for row in late_rows if row["coverage"] < 0.999),
        *(row["length_m"] + row["missed_m"] for row in rows),
        *(row["scored_m"] + row["missed_m"] for row in rows),
        *(row["accepted"] * row["interval_s"] * SPEED_MPS for row in rows),
    ]
    wholes = [whole for whole in wholes if np.isfinite(whole)]
    if wholes:
        found["half of what the whole is longer"] = (float(np.median(wholes)) - shown_m) / 2
    return {name: value for name, value in found.items() if np.isfinite(value)}


def _hidden_lengths(end: Seen) -> dict[str, np.ndarray]:
    found = {
        f"straight on by {name}": carried_on(end.line, max(0.0, far), 60.0) for name, far in hidden_lengths(end).items()
    }
    took = [carried_on(xy, row["ttff_s"] * SPEED_MPS, 60.0) for row, xy in end.tracks if row["ttff_s"] > 0]
    missed = [carried_on(xy, row["missed_m"], 60.0) for row, xy in end.tracks if row["missed_m"] > 0]
    if end.is_start and took and missed:
        found["back from each track by time and speed"] = np.mean(took, axis=0)
        found["back from each track by what it missed"] = np.mean(missed, axis=0)
    return found
