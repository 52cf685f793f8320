"""Two results folders written by hand, of one course and one more, with what a comparison of them comes to.

Amber rode both weeks, Basalt the first, Cobalt the second. On the logarithm Basalt is ln 2, ln 2 + e and ln 2 − e above
Amber, Cobalt ln 0.8, ln 0.8 + e and ln 0.8 − e, e = ln 1.1: standard deviation e, standard error e/√3, so with
t(.975, 2) = 4.3027 an interval reaches to exp(0.23677) = 1.26715 times the ratio. Basalt against Cobalt by way of Amber:
2/0.8 = 2.5, standard error e √(2/3), Welch's degrees 4, t(.975, 4) = 2.7764, factor exp(0.21607) = 1.24119. On six hot
starts Amber was 4, 6, 3, 7, 5 and 9 s sooner than Basalt: median 5.5, bounded by the least and the most.
"""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING

import numpy as np
from by_hand_cells import AMBER, AMBER_OUT, BASALT, BASALT_HOME

from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

OUT = np.column_stack([np.linspace(12.0, 12.02, 60), np.full(60, 47.0)])
#: The tables of devices, each figure another number.
FIRST_WEEK = (
    AMBER, AMBER_OUT | {"fixed_in_30s": "0.5", "ttff_never": "1", "undecided": "1"}, BASALT_HOME | {"route": "out"},
    AMBER | {"route": "home", "undecided": "3"},
)  # fmt: skip
SECOND_WEEK = (
    AMBER | {"device": "Cobalt", "route": "away", "undecided": "1"},
    BASALT | {"device": "Amber", "route": "away"},
)

_HEADS = ("file", "track", "device", "ride", "route", "ttff_s", "censored", "start_state", "interval_s", "xte_p68_m")
_FIRST = (
    ("Amber", "out", (5.0, 6.0, 7.0, 8.0, 9.0, 10.0), (2.0, 4.0, 8.0), "hot"),
    ("Basalt", "out", (9.0, 12.0, 10.0, 15.0, 14.0, 19.0), (4.0, 8.8, 16 / 1.1), "hot"),
    ("Amber", "home", (70.0, 80.0), (), "cold"),
)  # fmt: skip
_SECOND = (
    ("Amber", "away", (8.0, 8.0, 9.0), (3.0, 5.0, 6.0), "hot"),
    ("Cobalt", "away", (20.0, 25.0, 30.0), (2.4, 4.4, 4.8 / 1.1), "hot"),
)  # fmt: skip

#: Of each two devices: ratio with its bounds, or seconds; on which rides; and the words.
BRIDGES = (
    {"first": "Amber", "second": "Basalt", "measure": "xte_p68_m", "via": "the same rides", "campaigns": "Quay",
     "ratio": "0.500", "ratio_low": "0.395", "ratio_high": "0.634", "rides_first": "3", "rides_second": "3",
     "verdict": "Amber errs less than Basalt: ratio 0.50 (95 % interval 0.39 to 0.63; the same rides, 3 rides)"},
    {"first": "Amber", "second": "Basalt", "measure": "ttff_s", "state": "hot", "via": "the same rides", "campaigns": "Quay",
     "difference_s": "-5.50", "difference_low_s": "-9.00", "difference_high_s": "-3.00", "rides_first": "6",
     "rides_second": "6",
     "verdict": "Amber fixes sooner than Basalt from hot starts: difference -5.5 s (95 % interval -9.0 s to -3.0 s; the same "
                "rides, 6 rides)"},
    {"first": "Amber", "second": "Cobalt", "measure": "xte_p68_m", "via": "the same rides", "campaigns": "Weir",
     "ratio": "1.250", "ratio_low": "0.986", "ratio_high": "1.584", "rides_first": "3", "rides_second": "3",
     "verdict": "Amber and Cobalt cannot be told apart, cross-track error: ratio 1.25 (95 % interval 0.99 to 1.58; the same "
                "rides, 3 rides)"},
    {"first": "Amber", "second": "Cobalt", "measure": "ttff_s", "state": "hot", "via": "the same rides", "campaigns": "Weir",
     "difference_s": "-17.00", "rides_first": "3", "rides_second": "3",
     "verdict": "Amber and Cobalt, time to first fix, hot starts: difference -17.0 s, too few rides to tell them apart (the "
                "same rides, 3 rides)"},
    {"first": "Basalt", "second": "Cobalt", "measure": "xte_p68_m", "via": "Amber", "campaigns": "Quay, Weir",
     "ratio": "2.500", "ratio_low": "2.014", "ratio_high": "3.103", "rides_first": "3", "rides_second": "3",
     "verdict": "Basalt errs more than Cobalt: ratio 2.50 (95 % interval 2.01 to 3.10; by way of Amber, 3 rides)"},
    {"first": "Basalt", "second": "Cobalt", "measure": "ttff_s", "state": "hot", "via": "Amber", "campaigns": "Quay, Weir",
     "difference_s": "-11.50", "rides_first": "6", "rides_second": "3",
     "verdict": "Basalt and Cobalt, time to first fix, hot starts: difference -11.5 s, too few rides to tell them apart (by "
                "way of Amber, 6 and 3 rides)"},
)  # fmt: skip


def two_weeks(folder: Path) -> list[Path]:
    """Write both results folders; the second is a campaign's, which holds its results."""
    quay, weir = folder / "quay", folder / "weir" / RESULTS
    _write(quay, "Quay", {"out": OUT, "home": OUT[::-1]}, FIRST_WEEK, _FIRST)
    _write(weir, "Weir", {"away": OUT[5:] + 1e-5}, SECOND_WEEK, _SECOND)
    return [quay, weir.parent]


def _write(
    folder: Path, title: str, lines: Mapping[str, np.ndarray], devices: Sequence[Mapping[str, str]],
    recordings: Sequence[tuple[str, str, Sequence[float], Sequence[float], str]],
) -> None:  # fmt: skip
    folder.mkdir(parents=True)
    (folder / "run.json").write_text(json.dumps({"title": title}), encoding="utf-8")
    features = [
        {"type": "Feature", "properties": {"route": n}, "geometry": {"type": "LineString", "coordinates": xy.tolist()}}
        for n, xy in lines.items()
    ]
    (folder / "centrelines.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    tracks = [
        (
            f"{device}{k}.gpx",
            "1",
            device,
            f"{route}{k}",
            route,
            f"{wait}",
            "false",
            state,
            "1",
            f"{p68[k]}" if k < len(p68) else "",
        )
        for device, route, waits, p68, state in recordings
        for k, wait in enumerate(waits)
    ]
    _table(folder / "tracks.csv", [dict(zip(_HEADS, row, strict=True)) for row in tracks])
    _table(folder / "devices.csv", devices)


def _table(path: Path, rows: Sequence[Mapping[str, str]]) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, names, restval="")
        writer.writeheader()
        writer.writerows(rows)
