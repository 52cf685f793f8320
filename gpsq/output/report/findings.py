"""The finer findings of the report in sentences: places of devices, error by signal quality, length, reference line."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.output.wording import GAP, cell

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gpsq.results import Analysis
    from gpsq.summary_types import QualityClass, ReferenceFigures

QUANTITIES = {"hdop": "hdop", "sat": "satellites"}
#: A rank correlation nearer to nought than this is none worth saying (common practice).
WEAK = 0.1


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
        yield cell(
            f"{where}{first.device} is the best of them with a probability of {likely}. "
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


def _between(analysis: Analysis) -> Iterator[str]:
    """Say how far two devices of a ride lie apart on the ground, east and north."""
    for found in analysis.summaries.offsets_between:
        parts = [
            f"{wording.metres(abs(f.value))} {ways[f.value < 0]} ({wording.between(f, wording.metres)})"
            for f, ways in ((found.east_m, ("east", "west")), (found.north_m, ("north", "south")))
        ]
        yield cell(f"{found.first} lies {parts[0]} and {parts[1]} of {found.second}, {found.rides} rides.")


def _quality(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """Say for each device how its error goes with hdop and satellites, where it recorded them."""
    classes: tuple[QualityClass, ...] = analysis.summaries.quality_classes
    for trend in analysis.summaries.quality_trends:
        own = [c for c in classes if (c.device, c.quantity) == (trend.device, trend.quantity)]
        steps = ", ".join(f"{wording.metres(c.rms_m)} {_class(c)}" for c in own)
        value, what = trend.correlation.value, QUANTITIES[trend.quantity]
        goes = f"hardly goes with {what}" if abs(value) < WEAK else f"{'grows' if value > 0 else 'falls'} with {what}"
        said = f"error {goes} (rank correlation {value:.2f}, median of {trend.rides} recordings): RMS {steps}"
        yield trend.device, wording.typeset(said)


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
        f"and {row.rides} rides."
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
