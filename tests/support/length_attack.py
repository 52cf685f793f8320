"""An attacker who wants to know how much road a publication hides, from its tables alone: every column, every pair of them.

The tables are those of one publication, or of several of a campaign that grew. Each attack gives one number for a route,
in metres; the tests compare it with the truth, and with what is guessed without any table.
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: A rider's pace where the tables do not give it, and how much of a route may be hidden.
SPEED_MPS = 5.0
MOST_HIDDEN_M = 6000.0
#: Values of one thing differ by less than this from recording to recording.
SAME = 0.03
#: Numbers of stations are told apart when so small a share of them fits.
SINGLED_OUT = 0.1
#: A recording that is shown this much shorter than its figures say ended early.
EARLY_M = 300.0


def read(folder: Path, route: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the rows of ``tracks.csv`` and ``devices.csv`` on one route."""
    tracks, devices = (pd.read_csv(folder / name) for name in ("tracks.csv", "devices.csv"))
    return tracks[tracks["route"] == route].reset_index(drop=True), devices[devices["route"] == route]


def hidden_m(
    publications: list[tuple[pd.DataFrame, pd.DataFrame]], step_m: float, drawn: dict[str, np.ndarray]
) -> dict[str, float]:
    """Return each guess of how much of a route is hidden, at both ends together.

    `drawn` are figures of the part that is shown, by the name of their column, for each row of the last publication:
    whoever has the drawn tracks and the drawn line can work them out.
    """
    found: dict[str, float] = {}
    tracks = pd.concat([table for table, _ in publications], ignore_index=True)
    shown_m = float(tracks["scored_m"].max())
    for name, rows in (("", tracks[~_early(tracks)]), (" of early ended rides", tracks[_early(tracks)])):
        found |= {f"{what}{name}": value for what, value in _fractions(rows, step_m)}
    for what, values in _combined(tracks, step_m):
        value = float(np.median(values)) if len(values) > 2 else np.nan
        if np.isfinite(value) and np.median(np.abs(values - value)) <= SAME * abs(value):
            found[what] = value - shown_m
    found |= _durations(tracks, shown_m) | _regressed(publications[-1][0], drawn, shown_m)
    found |= _unseen(publications[-1][0], drawn, shown_m)
    for number, (table, devices) in enumerate(publications, 1):
        found |= {f"{what} of publication {number}": value for what, value in _weights(table, devices)}
    if len(publications) > 1:
        found |= _grown(*publications[:2])
    return {what: value for what, value in found.items() if 0.0 <= value <= MOST_HIDDEN_M}


def _numbers(tracks: pd.DataFrame) -> dict[str, np.ndarray]:
    return {
        name: tracks[name].to_numpy(float)
        for name in tracks.columns
        if tracks[name].dtype.kind in "if" and tracks[name].notna().sum() > 2
    }


def _early(tracks: pd.DataFrame) -> np.ndarray:
    reach_m = (tracks["scored_m"] + tracks["missed_m"]).to_numpy(float)
    return reach_m < np.nanmax(reach_m, initial=0.0) - EARLY_M


def _fractions(tracks: pd.DataFrame, step_m: float) -> Iterator[tuple[str, float]]:
    """Rational reconstruction: one hidden number of stations h for which every value is k/(shown + h), rounded."""
    shown = np.round(tracks["scored_m"].to_numpy(float) / step_m)
    hidden = np.arange(0, int(MOST_HIDDEN_M / step_m))
    fits: dict[str, np.ndarray] = {}
    for name, values in _numbers(tracks).items():
        usable = np.isfinite(values + shown) & (values > 0) & (values < 1)
        if usable.sum() > 1:
            fits[name] = _fitting(values[usable], shown[usable], hidden)
    pairs = {f"{a} and {b}": fits[a] + fits[b] for a in fits for b in fits if a < b}
    for name, fitting in {**fits, **pairs}.items():
        best = hidden[fitting == fitting.max()]
        if len(best) <= SINGLED_OUT * len(hidden):
            yield f"the stations that {name} are fractions of", float(np.median(best)) * step_m


def _fitting(values: np.ndarray, shown: np.ndarray, hidden: np.ndarray) -> np.ndarray:
    """Return for each number of hidden stations how many values are such fractions."""
    digits = max(len(f"{value:.6f}".rstrip("0").split(".")[1]) for value in values)
    n = shown[:, None] + hidden[None, :]
    nearest = np.round(values[:, None] * n) / n
    return np.asarray((np.abs(nearest - values[:, None]) <= 0.5001 * 10.0**-digits).sum(axis=0))


def _combined(tracks: pd.DataFrame, step_m: float) -> Iterator[tuple[str, np.ndarray]]:
    """Every column alone and every two together, as a length, a number of stations, or a duration at the rider's pace."""
    numbers = _numbers(tracks)
    units = {"m": 1.0, "stations": step_m, "s": _pace_mps(tracks)}
    made = dict(numbers)
    for a, b in permutations(numbers, 2):
        x, y = numbers[a], numbers[b]
        with np.errstate(all="ignore"):
            made |= {f"{a}/{b}": x / y, f"{a}/(1-{b})": x / (1 - y)}
            if a < b:
                made |= {f"{a}*{b}": x * y, f"{a}+{b}": x + y}
    for what, values in made.items():
        known = values[np.isfinite(values)]
        for unit, metres in units.items():
            yield f"{what} in {unit}", known * metres


def _pace_mps(tracks: pd.DataFrame) -> float:
    pace = tracks["length_m"] / ((tracks["accepted"] - 1) * tracks["interval_s"])
    pace = pace[np.isfinite(pace)]
    return float(pace.median()) if len(pace) else SPEED_MPS


def _durations(tracks: pd.DataFrame, shown_m: float) -> dict[str, float]:
    """What a recording without a fix tells: it lasted as long as the ride."""
    lost, pace = tracks[tracks["censored"] == True], _pace_mps(tracks)  # noqa: E712 - a column of truth values
    if not len(lost):
        return {}
    interval_s = float(tracks["interval_s"].median())
    return {
        "how long a recording never fixed": float(lost["ttff_at_least_s"].median()) * pace - shown_m,
        "how many points a recording without a fix has": float(lost["points"].median()) * interval_s * pace - shown_m,
    }


def _weights(tracks: pd.DataFrame, devices: pd.DataFrame) -> Iterator[tuple[str, float]]:
    """A pooled figure weighs its rides by their stations: solve for how many more each has than are shown."""
    shown, rms = tracks["scored_m"].to_numpy(float), tracks["xte_rms_m"].to_numpy(float)
    known = np.isfinite(shown + rms)
    if known.sum() > 2 and len(devices) and np.isfinite(pooled := float(devices["xte_rms_m"].iloc[0])):
        more = pooled**2 - rms[known] ** 2
        yield "the weights of a pooled rms", float(-(shown[known] * more).sum() / more.sum())


def _grown(before: tuple[pd.DataFrame, pd.DataFrame], after: tuple[pd.DataFrame, pd.DataFrame]) -> dict[str, float]:
    """What a ride more changes: its weight in the pooled rms against that of the rides before."""
    old, new = before[0], after[0]
    added = new[~new["file"].isin(old["file"])]
    if not len(added) or not len(before[1]) or not len(after[1]):
        return {}
    first, second = (float(table["xte_rms_m"].iloc[0]) ** 2 for table in (before[1], after[1]))
    square = float((added["xte_rms_m"] ** 2).mean())
    with np.errstate(all="ignore"):
        weight = np.divide(second - first, square - second)
        share = weight * len(old) / len(added)
    shown_old, shown_new = float(old["scored_m"].mean()), float(added["scored_m"].mean())
    # (shown_new + h) / (shown_old + h) = share
    return {"the weight of the rides that came later": float((shown_new - share * shown_old) / (share - 1))}


def _unseen(tracks: pd.DataFrame, drawn: dict[str, np.ndarray], shown_m: float) -> dict[str, float]:
    """The largest distance lies anywhere on the road: where it is larger than any that is drawn, it is hidden."""
    unseen = tracks["hausdorff_m"].to_numpy(float) > 1.25 * drawn["hausdorff_m"]
    share = float(unseen[np.isfinite(tracks["hausdorff_m"])].mean()) if len(unseen) else 0.0
    return {"how many largest distances are not to be seen": shown_m * share / (1 - share)} if share < 1 else {}


def _regressed(tracks: pd.DataFrame, drawn: dict[str, np.ndarray], shown_m: float) -> dict[str, float]:
    """A figure of the whole follows that of the part, which can be drawn, by the share of the road that is shown."""
    found = {}
    for name, part in drawn.items():
        if name == "hausdorff_m":
            continue
        whole = tracks[name].to_numpy(float)
        if name == "xte_rms_m":
            whole, part = whole**2, part**2
        known = np.isfinite(whole + part)
        if known.sum() >= 5 and np.ptp(part[known]) > 0:
            slope = float(np.polyfit(part[known], whole[known], 1)[0])
            found[f"the slope of {name} over that of the part"] = shown_m * (1 / slope - 1) if slope > 0 else -1.0
    return found
