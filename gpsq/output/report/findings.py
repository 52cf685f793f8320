"""The finer findings of the report in sentences: places of devices, error by signal quality, length, reference line."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.output.wording import GAP, cell
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gpsq.results import Analysis
    from gpsq.summary_types import ErrorVariance, QualityClass, QualityTrend, ReferenceFigures

QUANTITIES = {"hdop": "hdop", "sat": "satellites"}
#: A rank correlation nearer to nought than this is none worth saying (common practice).
WEAK = 0.1
#: From this on a device looks surely the best; of two devices that are alike one does so in a campaign of ten, by chance.
SURE = 0.95
ALIKE = "Of two devices that are alike, one looks as sure in about one campaign of ten."


def sections(analysis: Analysis) -> dict[str, Any]:
    """Return what the report shows of the finer findings; an empty list leaves its part out."""
    return {
        "ranks": list(_ranks(analysis)),
        "between": list(_between(analysis)),
        "ratios": [wording.typeset(found.verdict) for found in analysis.summaries.route_ratios],
        "quality": list(_quality(analysis)),
        "lengths": [(found.device, wording.typeset(found.reason)) for found in analysis.summaries.distance_biases],
        "reference": _reference(analysis),
    }


def _ranks(analysis: Analysis) -> Iterator[str]:
    """Say how likely the first device is the best, and between which places each lies."""
    for route, own in groupby(analysis.summaries.ranks, key=lambda place: place.route):
        places = list(own)
        first = places[0]
        others = ", ".join(
            f"{p.device} {p.place}" + (f" ({p.best} to {p.worst})" if p.best != p.worst else "") for p in places
        )
        where, sure = f"Route {route}: " if route else "", wording.share(analysis.settings.confidence)
        likely = wording.share(first.first_share)
        chance = f" {ALIKE}" if first.first_share >= SURE and first.worst > 1 else ""
        yield cell(
            f"{where}{first.device} is the best of them with a probability of {likely}.{chance} "
            f"Places, with the range that is sure to {sure}: {others}; {first.rides} rides."
        )


def hot_spot_searches(analysis: Analysis) -> Iterator[str]:
    """Say for each route on which no place stands out how long a stretch would have been seen."""
    for found in analysis.summaries.hot_spot_searches:
        if not found.spots:
            seen = (
                f"a stretch of {wording.metres(found.would_show_m)} with three times the error would most likely have been seen"
                if np.isfinite(found.would_show_m)
                else "but so few rides would hardly show one"
            )
            yield cell(f"Route {found.route}: no place stands out by more than chance in {found.rides} rides; {seen}.")


def own_errors(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """Say each device's own error over all routes, with its interval, or why there is none."""
    for found in analysis.summaries.error_variances:
        if not found.route:
            yield found.device, _own_error(found)


def _own_error(found: ErrorVariance) -> str:
    low, high = found.variance_m2.low, found.variance_m2.high
    rides = f"{found.rides} ride{'s' * (found.rides != 1)}"
    if found.note and not high > 0:
        return f"{found.note}; {rides}"
    if not np.isfinite(high):
        return f"standard deviation {wording.metres(found.sd_m)}, too few for an interval; {rides}"
    if low <= 0:
        return f"cannot be told from none, at most {wording.metres(float(np.sqrt(high)))}; {rides}"
    inside = f"{wording.metres(float(np.sqrt(low)))} to {wording.metres(float(np.sqrt(high)))}"
    return f"standard deviation {wording.metres(found.sd_m)} ({inside}); {rides}"


def _between(analysis: Analysis) -> Iterator[str]:
    """Say how far two devices of a ride lie apart on the ground, east and north, word and sign together."""
    for found in analysis.summaries.offsets_between:
        parts = (_to_a_side(found.east_m, "east", "west"), _to_a_side(found.north_m, "north", "south"))
        if all(f.low <= 0 <= f.high for f in (found.east_m, found.north_m)):
            said = f"{found.first} and {found.second}: no shift can be told from none"
            yield cell(f"{said}: {parts[0]} and {parts[1]}, {found.rides} rides.")
        else:
            yield cell(f"{found.first} lies {parts[0]} and {parts[1]} of {found.second}, {found.rides} rides.")


def _to_a_side(found: Interval, ahead: str, back: str) -> str:
    """Return a signed shift as a distance to the side it lies on, its bounds counted to that side too."""
    shift = found if found.value >= 0 else Interval(-found.value, -found.high, -found.low)
    return f"{wording.metres(shift.value)} {ahead if found.value >= 0 else back} ({wording.between(shift, wording.metres)})"


def _quality(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """Say for each device how its error goes with hdop and satellites, where it recorded them."""
    classes: tuple[QualityClass, ...] = analysis.summaries.quality_classes
    for trend in analysis.summaries.quality_trends:
        own = [c for c in classes if (c.device, c.quantity) == (trend.device, trend.quantity)]
        steps = ", ".join(f"{wording.metres(c.rms_m)} {_class(c)}" for c in own)
        said = f"error {_goes(trend)}: RMS {steps}"
        yield trend.device, wording.typeset(said)


def _goes(trend: QualityTrend) -> str:
    """Return whether an error grows or falls with a figure; neither where chance explains it, or there is no interval."""
    found, what = trend.correlation, QUANTITIES[trend.quantity]
    inside = f", {found.low:.2f} to {found.high:.2f}" if np.isfinite(found.low) else ", too few for an interval"
    grounds = f"(rank correlation {found.value:.2f}{inside}, median of {trend.rides} recordings)"
    if not (found.low > 0 or found.high < 0):
        return f"cannot be told to go with {what} {grounds}"
    if abs(found.value) < WEAK:
        return f"hardly goes with {what} {grounds}"
    return f"{'grows' if found.value > 0 else 'falls'} with {what} {grounds}"


def _class(found: QualityClass) -> str:
    what = QUANTITIES[found.quantity]
    if not np.isfinite(found.high):
        return f"at {what} over {found.low:g}"
    return f"at {what} up to {found.high:g}" if found.low == 0 else f"at {found.low:g} to {found.high:g}"


def _reference(analysis: Analysis) -> dict[str, Any]:
    rows: tuple[ReferenceFigures, ...] = analysis.summaries.reference
    routes = len({row.route for row in rows if row.route})
    return {
        "said": [_of_line(row) for row in rows if row.route and not row.device],
        "rows": [_row(row) for row in rows if row.device and (routes == 1 or not row.route)],
        "files": list(dict.fromkeys(row.file for row in rows if row.file)),
        "doubts": [_doubt(row) for row in rows if row.device and (routes == 1 or not row.route)],
    }


def _of_line(row: ReferenceFigures) -> str:
    bias = row.found.bias_m.value
    side = "left" if bias > 0 else "right"
    bounds = wording.between(row.found.bias_m, wording.metres)
    sure = f" ({bounds}, + left)" if bounds else ""
    return cell(
        f"Route {row.route}: its centreline lies {wording.metres(abs(bias))} to the {side} of the reference in the "
        f"median{sure}, RMS {wording.metres(row.found.systematic_m)}, over {wording.metres(row.shared_m)} of road "
        f"and {row.rides} ride{'s' * (row.rides != 1)}."
    )


def _row(row: ReferenceFigures) -> tuple[str, int, list[tuple[str, list[str]]]]:
    """Return device, rides, and cells as in the other tables of figures."""
    found = row.found
    bounds = wording.between(found.bias_m, wording.metres)
    plain = (found.systematic_m, found.precision_m, found.accuracy_m, found.within_95_m)
    standard, why = wording.metres(found.standard_95_m), ["its assumption does not hold"]
    cells: list[tuple[str, list[str]]] = [(wording.metres(found.bias_m.value), [bounds] if bounds else [])]
    cells += [(wording.metres(value), []) for value in plain]
    cells.append((standard, []) if found.assumption_holds else (wording.UNKNOWN, why))
    return row.device, row.rides, cells


REFERENCE_HEADS = (
    "trueness: median offset (+ left)",
    "trueness: RMS of the mean track",
    "repeatability, standard deviation",
    "accuracy: RMS offset",
    f"95{GAP}% of road within, counted",
    "the same by 1.96 times the RMS",
)


def _doubt(row: ReferenceFigures) -> tuple[str, str]:
    return row.device, wording.typeset(row.found.assumption)
