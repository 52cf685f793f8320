"""The figures of `by_hand` over recordings: of devices, pairs, places, and against a reference line, every one another number."""

from __future__ import annotations

from dataclasses import replace

from gpsq.summary_types import (
    AgainstReference,
    DevicePlace,
    DeviceSummary,
    DistanceBias,
    ErrorVariance,
    HotSpot,
    HotSpotSearch,
    Interval,
    OffsetBetween,
    PairedComparison,
    QualityClass,
    QualityTrend,
    ReferenceFigures,
    RouteRatio,
    StateSummary,
    Summaries,
)

NAN = float("nan")


def every(**figures: tuple[float, ...] | float) -> dict[str, Interval]:
    """Return figures by name: a value, or a value, its low and its high bound and how many there were."""
    return {
        name: Interval(f[0], f[1], f[2], "by hand", int(f[3]) if len(f) > 3 else 0)
        for name, f in ((n, f if isinstance(f, tuple) else (f, NAN, NAN)) for n, f in figures.items())
    }


AMBER = every(
    ttff_known=(11, NAN, NAN, 13), ttff_never=(2, NAN, NAN, 11), fixed_in_10s=(0.125, 0.0321, 0.2876, 8),
    fixed_in_30s=(0.375, 0.1432, 0.6543, 8), fixed_in_60s=(0.625, 0.3211, 0.8765, 8), ttff_median_s=(34.26, 17.76, 71.6),
    ttff_estimate_median_s=(28.4, 21.7, 39.6),
    ttff_ways_p=0.0432, settle_median_s=12.6, usable_median_s=47.26, missed_median_m=(81.26, 33.76, 122.6),
    missed_share_median=0.1357, missed_worst_m=913.6, missed_is_minimum=1.0,
    scored_rides=(9, NAN, NAN, 12), missed_known=(10, NAN, NAN, 13), scored_km=23.457,
    xte_median_m=(2.26, 1.76, 3.26), xte_p68_m=(4.16, 3.66, 5.36), xte_p95_m=(8.46, 7.56, 9.86), xte_rms_m=6.56,
    repeatability_m=(3.86, 2.96, 4.76), receiver_errors=5, receiver_errors_per_100km=(21.6, 7.26, 48.76),
    receiver_error_recordings=(0.2222, 0.1111, 0.3333, 9), route_choices=3, undecided=4, spikes=6, bias_m=-1.16,
    offset_body_m=0.76, offset_ground_m=-1.36, hausdorff_median_m=27.6, frechet_median_m=29.6, length_ratio_median=1.00321,
    interval_median_s=5.26,
)  # fmt: skip
AMBER["missed_median_m"] = replace(AMBER["missed_median_m"], at_least=True)
AMBER_OUT = every(
    ttff_known=(7, NAN, NAN, 9), fixed_in_10s=(0.25, 0.0711, 0.5911, 4), ttff_median_s=(36.76, 19.26, 81.26),
    missed_median_m=(91.76, 43.26, 133.6), xte_median_m=(2.76, 1.96, 3.76), xte_p95_m=(9.16, 8.06, 10.66),
    repeatability_m=(4.06, 3.06, 5.06), bias_m=(-1.66, -2.46, -0.86),
)  # fmt: skip
BASALT = every(
    ttff_known=(10, NAN, NAN, 12), ttff_never=(0, NAN, NAN, 10), fixed_in_10s=(0.4, 0.1681, 0.6873, 10),
    fixed_in_30s=(0.7, 0.3968, 0.8922, 10), fixed_in_60s=(0.9, 0.5958, 0.9821, 10), ttff_median_s=(13.6, 6.26, 28.76),
    ttff_ways_p=0.5432, settle_median_s=7.76, usable_median_s=19.76, missed_median_m=(54.6, 21.26, 77.6),
    missed_share_median=0.0864, missed_worst_m=412.6, missed_is_minimum=0.0,
    scored_rides=(8, NAN, NAN, 11), missed_known=(12, NAN, NAN, 12), scored_km=19.753,
    xte_median_m=(5.86, 4.36, 7.16), xte_p68_m=(8.96, 6.86, 11.46), xte_p95_m=(16.36, 14.16, 18.56), xte_rms_m=12.26,
    repeatability_m=(7.66, 5.76, 9.96), receiver_errors=1, receiver_errors_per_100km=(5.06, 0.16, 28.16),
    receiver_error_recordings=(0.125, 0.0221, 0.4709, 8), route_choices=2, undecided=0, spikes=0,
    offset_body_m=2.36, offset_ground_m=-0.66, hausdorff_median_m=43.6, frechet_median_m=46.6, length_ratio_median=0.99123,
    interval_median_s=11.26,
)  # fmt: skip
BASALT_HOME = every(
    ttff_known=(3, NAN, NAN, 4), fixed_in_10s=(0.75, 0.3006, 0.9544, 4), ttff_median_s=9.7,
    ttff_estimate_median_s=(15.2, 8.3, 24.9),
    missed_median_m=(47.3, 11.3, 66.3),
    xte_median_m=(6.3, 4.7, 7.8), xte_p95_m=(17.3, 15.3, 20.3), repeatability_m=(8.3, 6.3, 11.7), bias_m=(2.7, 1.3, 4.3),
)  # fmt: skip
HOT = every(
    fixed_in_10s=(0.8, 0.4901, 0.9433, 5), fixed_in_30s=(1.0, 0.5655, 1.0, 5), fixed_in_60s=(1.0, 0.5655, 1.0, 5),
    ttff_never=(0, NAN, NAN, 5), ttff_median_s=(7.1, 4.1, 11.1),
)  # fmt: skip
COLD = every(
    fixed_in_10s=(0.0, 0.0, 0.4345, 3), fixed_in_30s=(0.3333, 0.0615, 0.7923, 3), fixed_in_60s=(0.6667, 0.2077, 0.9385, 3),
    ttff_never=(1, NAN, NAN, 3), ttff_median_s=(43.1, 28.1, 61.1),
)  # fmt: skip

COMPARED = (
    PairedComparison("ttff_s", "Amber", "Basalt", 9, Interval(20.75, 6.125, 44.875), False, 0.0039, 0.0117, "exact sign test",
                     17.375, "rides left out: 2 with different start states", True,
                     "Amber fixes later than Basalt: in the median 20.8 s"),
    PairedComparison("xte_p68_m", "Amber", "Basalt", 8, Interval(0.4567, 0.3456, 0.6789), True, 0.0078, 0.0156,
                     "sign flips on the logarithm", 1.2345, "", True, "Amber errs less than Basalt: ratio 0.46"),
    PairedComparison("repeatability_m", "Amber", "Basalt", 7, Interval(0.8901, 0.5678, 1.4567), True, 0.4567, 0.6851,
                     "Student's paired test on the logarithm", 1.6789, "", False,
                     "Amber and Basalt cannot be told apart in repeatability: ratio 0.89"),
)  # fmt: skip
REFERENCE = (
    ReferenceFigures("out", "", "survey.gpx", 6, 587.6,
                     AgainstReference(6, Interval(-3.16, -4.26, -2.06), 3.46, NAN, 3.76, 6.16, 7.36, 9.18, False, "few places")),
    ReferenceFigures("out", "Amber", "survey.gpx", 5, 577.6,
                     AgainstReference(5, Interval(-2.66, -3.56, -1.76), 2.86, 1.36, 3.26, 5.66, 6.37, 7.96, True, "holds: near")),
)  # fmt: skip

SUMMARIES = Summaries(
    devices=(
        DeviceSummary("Amber", "", 12, AMBER), DeviceSummary("Amber", "out", 10, AMBER_OUT),
        DeviceSummary("Basalt", "", 11, BASALT), DeviceSummary("Basalt", "home", 4, BASALT_HOME),
    ),
    start_states=(StateSummary("Amber", "cold", 3, COLD), StateSummary("Basalt", "hot", 5, HOT)),
    comparisons=COMPARED,
    error_variances=(
        ErrorVariance("Amber", "", 6, Interval(3.24, 2.1, 4.4), 1.8),
        ErrorVariance("Amber", "out", 5, Interval(99.0), 77.0),
        ErrorVariance("Basalt", "", 7, Interval(-0.5), NAN, "negative: too few rides"),
    ),
    hot_spots=(
        HotSpot("out", 203.0, 306.0, 8.7, 2.3, 0.31, 0.17), HotSpot("out", 515.0, 621.0, 13.2, 3.4, 0.47, 0.19),
    ),
    hot_spot_searches=(HotSpotSearch("home", 3, 0, 143.0), HotSpotSearch("out", 5, 2, 97.0)),
    offsets_between=(OffsetBetween("Amber", "Basalt", 9, Interval(-2.3, -3.6, -1.1), Interval(4.2, 3.1, 5.7)),),
    ranks=(DevicePlace("", "Basalt", 8, 3.9, 1, 0.83, 1, 2), DevicePlace("", "Amber", 8, 4.4, 2, 0.17, 1, 2)),
    route_ratios=(RouteRatio("Amber", "out", "home", Interval(1.46), "Amber scatters more on out than on home, ratio 1.46"),),
    quality_classes=(
        QualityClass("Amber", "hdop", 0.0, 1.0, 501, 6, 2.7), QualityClass("Amber", "hdop", 1.0, 2.0, 302, 5, 3.8),
        QualityClass("Basalt", "sat", 12.0, float("inf"), 103, 4, 5.2),
    ),
    quality_trends=(
        QualityTrend("Amber", "hdop", 6, Interval(0.37, 0.12, 0.61)), QualityTrend("Basalt", "sat", 4, Interval(-0.28)),
    ),
    distance_biases=(DistanceBias("Amber", Interval(1.013), 0.007, "recorded +1.3%, of which noise explains +0.7%"),),
    reference=REFERENCE,
)  # fmt: skip
