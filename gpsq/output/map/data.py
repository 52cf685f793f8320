"""What the map draws, as plain data for the page's script: numbers and text, never markup."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.measures.lead import not_recorded_m
from gpsq.output import ride_days, wording
from gpsq.output.drawing.flags import flag_text
from gpsq.output.drawing.lines import Drawn, middle_lon_deg, parts_between, thin, thin_line, unwrap
from gpsq.output.drawing.looks import device_looks, state
from gpsq.output.drawing.margin import CUT
from gpsq.output.drawing.route_parts import band_m, block_m, excursions, hot_spots, shared
from gpsq.output.drawing.streets import lines_m
from gpsq.output.drawing.timing import played
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Deviation, FloatArray
    from gpsq.results import Analysis, RouteResult, TraceResult

#: Lines are thinned to this, for drawing only: under the width of a line at any zoom.
DRAW_TOLERANCE_M = 0.5
#: More points than this are thinned further, so that a thousand recordings still move smoothly in a browser.
DRAW_BUDGET = 600_000
#: Positions are sent as whole millionths of a degree (11 cm).
PER_DEGREE = 1_000_000

Json = dict[str, Any]


def map_data(analysis: Analysis) -> Json:
    """Return everything that ``map.html`` shows; texts are plain, positions differences of millionths of a degree."""
    drawn = thin(analysis, DRAW_TOLERANCE_M, DRAW_BUDGET)
    near_deg = middle_lon_deg(analysis.traces)
    looks = device_looks(analysis)
    routes = {found.route.name: i for i, found in enumerate(analysis.routes)}
    devices = {name: i for i, name in enumerate(looks)}
    rides, days = _rides(analysis, routes), _days(analysis)
    return {
        "title": wording.title(analysis),
        "cut": CUT if analysis.published else "",
        "devices": [
            {"name": cell(name), "colour": look.colour, "dashes": list(look.dashes), "mark": look.mark}
            for name, look in looks.items()
        ],
        "routes": [_route(analysis, found, near_deg) for found in analysis.routes],
        "streets_source": cell(analysis.streets.source) if analysis.streets else "",
        "rides": list(rides.values()),
        "recordings": [
            _recording(analysis, i, routes, devices, list(rides), drawn, near_deg) | {"day": days[i]}
            for i in range(len(analysis.traces))
        ],
        "deviations": [_excursion(analysis, group, near_deg) for group in excursions(analysis.deviations)],
        "hotspots": [spot for spot in (_hot_spot(analysis, found, near_deg) for found in hot_spots(analysis)) if spot],
        "points": drawn.points,
        "drawn": drawn.drawn,
        "tolerance": wording.metres(drawn.tolerance_m),
    }


def script_json(data: Json) -> str:
    r"""Return JSON that can stand in a script element: no sign that HTML, JavaScript or a template takes for its own.

    Pages are often passed through a site generator, so ``{{`` and the like are spelled out too; JSON itself has none.

    Examples
    --------
    >>> script_json({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&$`\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    for opening in ("{{", "{%", "{#"):
        text = text.replace(opening, f"{{\\u{ord(opening[1]):04x}")
    return text


def _rides(analysis: Analysis, routes: dict[str, int]) -> dict[str, Json]:
    """Return the rides in order of time: how each is called, its way, and the first fixes of its recordings in words."""
    starts, names = ride_days.ride_starts(analysis), ride_days.long_names(analysis)
    own: dict[str, list[TraceResult]] = {}
    for result in analysis.results:
        own.setdefault(result.ride, []).append(result)
    order = sorted(own, key=lambda ride: (ride not in starts, starts[ride].isoformat() if ride in starts else "", ride))
    found = {}
    for ride in order:
        route = next((r.route for r in own[ride] if r.route), "")
        fixes = [_brief(r) for r in own[ride] if _brief(r)]
        said = fixes[0] if len(fixes) == 1 else _from_to(own[ride]) if fixes else "first fix unknown"
        name = names.get(ride, "recordings without a ride")
        parts = [name, wording.short(route, 24), said]
        found[ride] = {"name": name, "label": ", ".join(part for part in parts if part), "route": routes.get(route, -1)}
    return found


def _from_to(results: Sequence[TraceResult]) -> str:
    """Return the shortest and the longest time to first fix of a ride's recordings, "" where none is known."""
    known = [r.first_fix.seconds for r in results if np.isfinite(r.first_fix.seconds)]
    if not known:
        return ""
    return wording.seconds(known[0]) if len(known) == 1 else f"{min(known):.0f}–{max(known):.0f}{wording.GAP}s"


def _days(analysis: Analysis) -> list[str]:
    """Return for each recording the shortest name of its ride among those of its way."""
    own: dict[str, list[str]] = {}
    for result in analysis.results:
        own.setdefault(result.route, []).append(result.ride)
    said = {route: ride_days.short_names(analysis, rides) for route, rides in own.items()}
    return [wording.short(said[r.route].get(r.ride, ""), 14) for r in analysis.results]


def _brief(result: TraceResult) -> str:
    """Return when a recording was first fixed, in a few signs."""
    return "never fixed" if result.first_fix.censored else flag_text(result.first_fix)


def _route(analysis: Analysis, found: RouteResult, near_deg: float) -> Json:
    line = found.centreline
    line_m = line.xy_m if line is not None else np.empty((0, 2))
    return {
        "name": wording.way(analysis, found.route.name),
        "rides": len(found.rides),
        "length": wording.metres(line.length_m) if line is not None else "",
        "reason": cell(found.reason),
        "line": _packed_m(found, line_m, near_deg),
        "band": _packed_m(found, band_m(found), near_deg),
        "kilometres": _kilometres(found, near_deg),
        "streets": [_packed_m(found, street, near_deg) for street in lines_m(analysis, found.route.plane, line_m)],
    }


def _kilometres(found: RouteResult, near_deg: float) -> list[int]:
    """Return the places of the whole kilometres along a route."""
    line = found.centreline
    if line is None or line.length_m < 1000.0:
        return []
    at = np.arange(1000.0, line.length_m, 1000.0) + line.along_m[0]
    places = np.column_stack([np.interp(at, line.along_m, line.xy_m[:, axis]) for axis in (0, 1)])
    return _packed(*found.route.plane.to_degrees(places), near_deg)


def _recording(
    analysis: Analysis, i: int, routes: dict[str, int], devices: dict[str, int], rides: Sequence[str], drawn: Drawn,
    near_deg: float,
) -> Json:  # fmt: skip
    trace, result = analysis.traces[i], analysis.results[i]
    found = analysis.route_named(result.route)
    early = np.isfinite(result.ended_early_m) and trace.accepted > 0
    fixed = trace.accepted > 0
    return {
        "file": cell(trace.file) + (f" ({trace.track})" if trace.track > 1 else ""),
        "name": cell(trace.name),
        "device": devices[trace.device],
        "route": routes.get(result.route, -1),
        "ride": rides.index(result.ride),
        "status": cell(result.status + (f": {result.reason}" if result.reason else "")),
        "errors": _errors(result),
        "fix": wording.first_fix(result.first_fix),
        "flag": _brief(result),
        "missed": round(result.first_fix.missed_m, 1) if wording.says_missed(result.first_fix) else None,
        "lost": f"{wording.missed(result.first_fix)} missed" if wording.says_missed(result.first_fix) else "",
        "stopped": f"stopped {wording.metres(result.ended_early_m)} before the end" if early else "",
        "last": _packed(trace.lon_deg[-1:], trace.lat_deg[-1:], near_deg) if early else [],
        "at": _packed(trace.lon_deg[:1], trace.lat_deg[:1], near_deg) if fixed else [],
        "head": _packed_m(found, not_recorded_m(result, found), near_deg) if found else [],
        "parts": [_whole(piece) for piece in drawn.lines[i]],
        "play": played(trace, result, near_deg, PER_DEGREE, many=len(analysis.traces)),
        "points": trace.accepted,
    }


def _errors(result: TraceResult) -> str:
    errors = result.crosstrack
    if errors is None:
        return ""
    return f"cross-track error {wording.metres(errors.rms_m)} RMS over {wording.metres(errors.scored_m)}"


def _excursion(analysis: Analysis, group: Sequence[Deviation], near_deg: float) -> Json:
    """Return the deviations of one ride at one place as one thing: all its lines, and what is said of it."""
    largest = max(group, key=lambda d: d.peak_m)
    ways = []
    for found in group:
        trace, result = analysis.traces[found.trace], analysis.results[found.trace]
        unbroken = parts_between(trace, result, found.from_point, found.to_point)
        ways += [_packed(trace.lon_deg[part], trace.lat_deg[part], near_deg) for part in unbroken]
    return {
        "event": cell(largest.event or largest.id),
        "ids": [cell(d.id) for d in group],
        "recordings": [d.trace for d in group],
        "state": state(shared(group, "flag")),
        "text": f"{wording.metres(largest.peak_m)} to the {largest.side}, "
        f"from {wording.metres(min(d.from_m for d in group))} to {wording.metres(max(d.to_m for d in group))} along the route",
        "size": wording.metres(largest.peak_m),
        "suggestion": cell(shared(group, "suggestion")),
        "evidence": cell(largest.evidence),
        "note": cell("; ".join(dict.fromkeys(d.note for d in group if d.note))),
        "parts": ways,
    }


def _hot_spot(analysis: Analysis, spot: Any, near_deg: float) -> Json | None:
    found = analysis.route_named(spot.route)
    if found is None or found.centreline is None:
        return None
    return {
        "route": [r.route.name for r in analysis.routes].index(spot.route),
        "text": f"from {wording.metres(spot.from_m)} to {wording.metres(spot.to_m)} along the route: "
        f"spread {wording.metres(spot.spread_m)}",
        "outline": _packed_m(found, block_m(found, spot.from_m, spot.to_m, 2.0 * spot.spread_m), near_deg),
    }


def _packed_m(found: RouteResult, xy_m: FloatArray, near_deg: float) -> list[int]:
    return _packed(*found.route.plane.to_degrees(thin_line(xy_m, DRAW_TOLERANCE_M)), near_deg) if len(xy_m) else []


def _packed(lon_deg: FloatArray, lat_deg: FloatArray, near_deg: float) -> list[int]:
    return _whole(np.column_stack([unwrap(lon_deg, near_deg), lat_deg]))


def _whole(line_deg: FloatArray) -> list[int]:
    """Latitude and longitude in turn, in millionths of a degree, each vertex as its difference from the one before."""
    whole = np.rint(line_deg[:, ::-1] * PER_DEGREE).astype(np.int64)
    steps: list[int] = np.diff(whole, axis=0, prepend=0).ravel().tolist()
    return steps
