"""The figures over recordings: per device, per start state, compared with one another, and by place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.summaries import device_figures, device_pairs, hot_spots, own_error, ranking
from gpsq.summary_types import Summaries

if TYPE_CHECKING:
    from gpsq.results import Analysis


def summaries(analysis: Analysis) -> Summaries:
    """Return the figures over recordings; those against a reference line are `gpsq.summaries.reference`'s."""
    what = (analysis.traces, analysis.results, analysis.routes, analysis.settings)
    devices = device_figures.summarise(*what)
    classes, trends = hot_spots.error_by_quality(*what[:3])
    return Summaries(
        devices=devices,
        start_states=device_figures.by_start_state(*what[:2], analysis.settings),
        comparisons=device_pairs.compare_pairs(*what),
        error_variances=own_error.error_variances(*what),
        hot_spots=hot_spots.hot_spots(*what),
        ranks=ranking.rank_by_repeatability(*what),
        route_ratios=ranking.compare_places(devices),
        quality_classes=classes,
        quality_trends=trends,
        distance_biases=hot_spots.distance_biases(*what[:2], analysis.settings),
    )
