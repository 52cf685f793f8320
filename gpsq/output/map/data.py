"""What the map draws, as plain data for the page's script: numbers and text, never markup."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.output.drawing.lines import Drawn, middle_lon_deg, thin, thin_line, unwrap
from gpsq.output.drawing.looks import device_looks, state
from gpsq.output.drawing.route_parts import band_m, head_span_m, hot_spots, stretch_m
from gpsq.output.wording import cell

if TYPE_CHECKING:
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
    return {
        "title": wording.title(analysis),
        "devices": [
            {"name": cell(name), "colour": look.colour, "dashes": list(look.dashes), "mark": look.mark}
            for name, look in looks.items()
        ],
        "routes": [_route(found, near_deg) for found in analysis.routes],
        "recordings": [_recording(analysis, i, routes, devices, drawn, near_deg) for i in range(len(analysis.traces))],
        "deviations": [_deviation(analysis, found, near_deg) for found in analysis.deviations],
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


def _route(found: RouteResult, near_deg: float) -> Json:
    line = found.centreline
    return {
        "name": cell(found.route.name),
        "rides": len(found.rides),
        "length": wording.metres(line.length_m) if line is not None else "",
        "reason": cell(found.reason),
        "line": _packed_m(found, line.xy_m if line is not None else np.empty((0, 2)), near_deg),
        "band": _packed_m(found, band_m(found), near_deg),
    }


def _recording(
    analysis: Analysis, i: int, routes: dict[str, int], devices: dict[str, int], drawn: Drawn, near_deg: float
) -> Json:
    trace, result = analysis.traces[i], analysis.results[i]
    found = analysis.route_named(result.route)
    span = head_span_m(trace, result, found) if found else None
    fixed = trace.accepted > 0
    return {
        "file": cell(trace.file) + (f" ({trace.track})" if trace.track > 1 else ""),
        "name": cell(trace.name),
        "device": devices[trace.device],
        "route": routes.get(result.route, -1),
        "ride": cell(result.ride),
        "status": cell(result.status + (f": {result.reason}" if result.reason else "")),
        "errors": _errors(result),
        "fix": wording.first_fix(result.first_fix),
        "mark": _mark(result),
        "at": _packed(trace.lon_deg[:1], trace.lat_deg[:1], near_deg) if fixed else [],
        "head": _packed_m(found, stretch_m(found, *span), near_deg) if found and span else [],
        "parts": [_whole(piece) for piece in drawn.lines[i]],
        "points": trace.accepted,
    }


def _mark(result: TraceResult) -> str:
    """Return the few signs beside a first fix: seconds, metres missed."""
    fix = result.first_fix
    known = [wording.seconds(fix.seconds)] if np.isfinite(fix.seconds) else []
    if wording.says_missed(fix):
        known.append(("≥\N{NO-BREAK SPACE}" if fix.missed_is_minimum else "") + wording.metres(fix.missed_m))
    return " · ".join(known)


def _errors(result: TraceResult) -> str:
    errors = result.crosstrack
    if errors is None:
        return ""
    return f"cross-track error {wording.metres(errors.rms_m)} RMS over {wording.metres(errors.scored_m)}"


def _deviation(analysis: Analysis, found: Deviation, near_deg: float) -> Json:
    trace = analysis.traces[found.trace]
    inside = (trace.point >= found.from_point) & (trace.point <= found.to_point)
    return {
        "id": cell(found.id),
        "recording": found.trace,
        "state": state(found.flag),
        "text": f"{wording.metres(found.peak_m)} to the {found.side}, "
        f"from {wording.metres(found.from_m)} to {wording.metres(found.to_m)} along the route",
        "suggestion": cell(found.suggestion),
        "evidence": cell(found.evidence),
        "note": cell(found.note),
        "parts": [_packed(trace.lon_deg[inside], trace.lat_deg[inside], near_deg)],
    }


def _hot_spot(analysis: Analysis, spot: Any, near_deg: float) -> Json | None:
    found = analysis.route_named(spot.route)
    if found is None or found.centreline is None:
        return None
    return {
        "route": [r.route.name for r in analysis.routes].index(spot.route),
        "text": f"from {wording.metres(spot.from_m)} to {wording.metres(spot.to_m)} along the route: "
        f"spread {wording.metres(spot.spread_m)}",
        "line": _packed_m(found, stretch_m(found, spot.from_m, spot.to_m), near_deg),
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
