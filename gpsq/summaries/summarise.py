"""The figures over recordings: per device, per start state, compared with one another, and by place."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from gpsq.summaries import device_figures, device_pairs, hot_spots, own_error, ranking
from gpsq.summaries.devices import distance_bias, offsets, quality
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import DevicePlace, OffsetBetween, PairedComparison, Summaries

if TYPE_CHECKING:
    from gpsq.model import Trace
    from gpsq.results import Analysis, RouteResult, TraceResult
    from gpsq.settings import Settings

Measured = tuple[Sequence["Trace"], Sequence["TraceResult"], Sequence["RouteResult"], "Settings"]
Searched = Sequence[hot_spots.SearchedRoute]
Compared = tuple[tuple[PairedComparison, ...], tuple[DevicePlace, ...]]
Elsewhere = tuple[Callable[[], Searched], Callable[[], Compared]]


def places_that_stand_out(analysis: Analysis, part: int = 0, parts: int = 1) -> Searched:
    """Return what `hot_spots.by_route` finds on each route, or on a part of them; all takes as long as what else is summed up."""
    return hot_spots.by_route(*_what_was_measured(analysis), part, parts)


def devices_compared(analysis: Analysis) -> Compared:
    """Return the devices held against one another in pairs, and ranked."""
    what = _what_was_measured(analysis)
    return device_pairs.compare_pairs(*what), ranking.rank_by_repeatability(*what)


def summaries(analysis: Analysis, elsewhere: Elsewhere | None = None) -> Summaries:
    """Return the figures over recordings; those against a reference line are `gpsq.summaries.reference`'s.

    `elsewhere` waits for the `places_that_stand_out` and the `devices_compared` where these are worked out elsewhere
    meanwhile; it is asked last.
    """
    what = _what_was_measured(analysis)
    devices = device_figures.summarise(*what)
    classes, trends = quality.error_by_quality(*what[:3])
    found = Summaries(
        devices=devices,
        start_states=device_figures.by_start_state(*what[:2], analysis.settings),
        error_variances=own_error.error_variances(*what),
        offsets_between=_offsets_between(analysis),
        route_ratios=ranking.compare_places(devices),
        quality_classes=classes,
        quality_trends=trends,
        distance_biases=distance_bias.distance_biases(*what[:2], analysis.settings),
    )
    searched, compared = elsewhere or (partial(places_that_stand_out, analysis), partial(devices_compared, analysis))
    comparisons, ranks = compared()
    spots, searches = hot_spots.together(searched())
    return dataclasses.replace(found, comparisons=comparisons, ranks=ranks, hot_spots=spots, hot_spot_searches=searches)


def _what_was_measured(analysis: Analysis) -> Measured:
    return analysis.traces, analysis.results, analysis.routes, analysis.settings


def _offsets_between(analysis: Analysis) -> tuple[OffsetBetween, ...]:
    tables = [
        (table, route.centreline)
        for route in analysis.routes
        if (table := station_table(route, analysis.traces, analysis.results)) and route.centreline
    ]
    return offsets.between_devices(tables, analysis.settings.confidence)
