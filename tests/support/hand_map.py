"""What a map shows, written by hand: places are whole millionths of a degree near 0° N 0° E, where one is 11 cm either way.

Three ways: the quay, of most rides, eastward and then north; the mill, eastward only; and one that has no line. Every mark,
state of a deviation and kind of recording comes once at least.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import gpsq.output.map.page as page_of_map

if TYPE_CHECKING:
    import pytest

MARKS = ("disc", "triangle", "square", "diamond", "wedge", "cross")
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
NAMES = ("Amber", "Basalt", "Cobalt", "Dolomite", "Emerald", "Flint")


def steps(*places: tuple[int, int]) -> list[int]:
    """Return places, latitude first, each as its difference from the one before."""
    before = ((0, 0), *places)
    return [part - old for now, was in zip(places, before, strict=False) for part, old in zip(now, was, strict=True)]


QUAY = ((0, 0), (0, 10_000), (0, 20_000), (10_000, 20_000))
MILL = ((-6_000, 0), (-6_000, 20_000))


def _recording(device: int, route: int, ride: int, along: int, **more: Any) -> dict[str, Any]:
    """A recording along the latitude `along`, from 4,000 east of the meridian on."""
    own = {
        "file": f"{NAMES[device].lower()}.gpx", "name": "", "device": device, "route": route, "ride": ride,
        "status": "scored", "errors": "", "fix": f"fixed after {device} s", "flag": f"{device} s", "missed": 1.0 + device,
        "lost": f"{device} m missed", "stopped": "", "last": [], "at": steps((along, 4_000)), "head": [],
        "parts": [steps((along, 4_000), (along, 16_000))], "play": None, "points": 2, "day": "Mon",
    }  # fmt: skip
    return own | more


RECORDINGS = [
    _recording(
        0, 1, 0, 300, name="first ride", errors="error 3 m", stopped="stopped 400 m before the end",
        last=steps((300, 16_000)), head=steps((0, 1_000), (0, 2_000), (0, 4_000)),
        play={"from": 23.0, "step": 10.0, "known": True, "at": steps((300, 4_000), (300, 8_000), (300, 16_000))},
    ),
    _recording(
        1, 1, 0, -300, head=steps((0, 3_000), (0, 4_000)), lost="",
        play={"from": 30.5, "step": 20.0, "known": False, "at": steps((-300, 4_000), (-300, 16_000))},
    ),
    _recording(2, 1, 1, 600, status="not scored: too short", day="Tue", parts=[
        steps((600, 4_000), (600, 8_000)), steps((600, 9_000), (600, 16_000))]),
    _recording(3, 0, 2, -6_300, day="Wed"),
    _recording(4, 1, 1, 0, at=[], parts=[], head=steps((0, 0), (0, 20_000)), day="Tue", flag="never fixed", missed=None),
    _recording(5, -1, 3, -3_000, day="Thu"),
]  # fmt: skip


def _deviation(event: str, state: str, recordings: list[int], at: int, **more: Any) -> dict[str, Any]:
    own = {
        "event": event, "ids": [f"{event}a", f"{event}b"], "recordings": recordings, "state": state,
        "text": f"{at} m to the left", "size": f"{at} m", "suggestion": "", "evidence": "", "note": "",
        "parts": [steps((at, 6_000), (at, 7_000), (at, 8_000))],
    }  # fmt: skip
    return own | more


DATA: dict[str, Any] = {
    "title": "Quay and mill", "cut": "",
    "devices": [
        {"name": name, "colour": colour, "dashes": [], "mark": mark}
        for name, colour, mark in zip(NAMES, COLOURS, MARKS, strict=True)
    ],
    "routes": [
        {"name": "mill", "rides": 1, "length": "2.2 km", "reason": "only 1 ride", "line": steps(*MILL),
         "band": steps((-5_950, 0), (-5_950, 20_000), (-6_050, 20_000), (-6_050, 0)),
         "kilometres": [], "streets": []},
        {"name": "quay", "rides": 2, "length": "3.3 km", "reason": "", "line": steps(*QUAY),
         "band": steps((100, 0), (100, 20_000), (-100, 20_000), (-100, 0)),
         "kilometres": steps((0, 8_983), (0, 17_966), (6_949, 20_000)),
         "streets": [steps((-500, 0), (-500, 9_000)), steps((500, 0), (500, 9_000), (900, 9_000))]},
        {"name": "moor", "rides": 2, "length": "", "reason": "no line", "line": [], "band": [], "kilometres": [], "streets": []},
    ],
    "streets_source": "county survey",
    "rides": [
        {"name": "Mon 4 May", "label": "Mon 4 May, quay, 0–1 s", "route": 1},
        {"name": "Tue 5 May", "label": "Tue 5 May, quay, 2 s", "route": 1},
        {"name": "Wed 6 May", "label": "Wed 6 May, mill, 3 s", "route": 0},
        {"name": "Thu 7 May", "label": "Thu 7 May, 5 s", "route": -1},
    ],
    "recordings": RECORDINGS,
    "deviations": [
        _deviation("E1", "unflagged", [0, 1], 2_000, suggestion="route choice", evidence="both left", note="seen"),
        _deviation("E2", "intentional", [2], 3_000),
        _deviation("E3", "error", [2], 4_000),
        _deviation("E4", "error", [3], -7_000),
    ],
    "hotspots": [
        {"route": 0, "text": "at the mill", "outline": steps((-5_900, 0), (-5_900, 900), (-6_100, 900))},
        {"route": 1, "text": "at the quay", "outline": steps((100, 9_000), (100, 9_900), (-100, 9_900), (-100, 9_000))},
    ],
    "points": 1_234_567, "drawn": 7_654, "tolerance": "0.7 m",
}  # fmt: skip


def written(patch: pytest.MonkeyPatch, path: Path, **more: Any) -> Path:
    """Write the page that shows these data, some of them changed."""
    patch.setattr(page_of_map, "map_data", lambda _: DATA | more)
    path.write_text(page_of_map.map_page(None), "utf-8")  # type: ignore[arg-type]  # what it would be made of is given
    return path


#: Functions of the browser's own language that say what a map shows.
ASKED = (Path(__file__).parent / "map_asked.js").read_text("utf-8")


def ask(page: Any, name: str, given: Any = None) -> Any:
    """Return what one of them finds in a page."""
    return page.evaluate(f"(given) => {ASKED.strip()}.{name}(given)", given)
