"""What must stand in every cell of every table of `by_hand`, written by hand from what was put in, and how it is compared."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

AMBER_MON = {
    "file": "amber/mon.gpx", "track": "1", "sha256": "a1" * 32, "device": "Amber", "ride": "R01", "route": "out",
    "status": "scored", "reason": "", "started": "2026-05-04T07:00:07Z", "start_basis": "log",
    "first_fix": "2026-05-04T07:00:30Z", "ttff_s": "23.125", "ttff_at_least_s": "", "censored": "false",
    "hours_since_fix": "9.375", "start_state": "warm", "settle_s": "14.375", "missed_m": "61.27", "missed_share": "0.0987",
    "missed_is_minimum": "false", "points": "10", "accepted": "6", "set_aside": "4", "interval_s": "5.125",
    "length_m": "512.34", "scored_m": "411.19", "xte_bias_m": "-1.21", "xte_rms_m": "3.31", "xte_median_m": "2.41",
    "xte_p95_m": "7.61", "within_5m": "0.8125", "within_10m": "0.9375", "hausdorff_m": "12.81", "frechet_m": "13.91",
    "frechet_discrete_m": "15.07", "coverage": "0.7654", "length_ratio": "1.01234", "deviations": "1",
    "name": "Monday morning", "xte_p68_m": "4.51", "spikes": "2", "largest_spike_m": "33.39",
    "missed_low_m": "51.29", "missed_high_m": "83.31", "place_basis": "way back",
}  # fmt: skip
BASALT_MON = {
    "file": "basalt/mon.gpx", "track": "2", "sha256": "b2" * 32, "device": "Basalt", "ride": "R01", "route": "out",
    "status": "scored", "reason": "", "started": "2026-05-04T07:00:12.500Z", "start_basis": "points before fix",
    "first_fix": "2026-05-04T07:01:11.250Z", "ttff_s": "58.75", "ttff_at_least_s": "", "censored": "false",
    "hours_since_fix": "47.125", "start_state": "cold", "settle_s": "22.625", "missed_m": "179.43",
    "missed_share": "0.2891", "missed_is_minimum": "true", "points": "8", "accepted": "5", "set_aside": "3",
    "interval_s": "11.375", "length_m": "408.76", "scored_m": "302.23", "xte_bias_m": "6.29", "xte_rms_m": "9.43",
    "xte_median_m": "8.17", "xte_p95_m": "17.77", "within_5m": "0.1875", "within_10m": "0.4375", "hausdorff_m": "19.03",
    "frechet_m": "20.09", "frechet_discrete_m": "21.13", "coverage": "0.6321", "length_ratio": "0.98765",
    "deviations": "2", "name": "", "xte_p68_m": "10.61", "spikes": "1", "largest_spike_m": "71.53",
    "place_basis": "log", "ended_early_m": "219.17",
}  # fmt: skip
#: Recordings that say less; what is not named is blank.
AMBER_TUE = {
    "file": "amber/tue.gpx", "track": "1", "sha256": "c3" * 32, "device": "Amber", "ride": "R02", "status": "not scored",
    "reason": "it never found a position", "started": "2026-05-05T07:03:00Z", "start_basis": "log",
    "ttff_at_least_s": "613.75", "censored": "true", "hours_since_fix": "24.125", "start_state": "warm", "points": "17",
    "accepted": "0", "set_aside": "17", "place_basis": "none",
}  # fmt: skip
BASALT_WED = {
    "file": "basalt/wed.gpx", "track": "1", "sha256": "d4" * 32, "device": "Basalt", "ride": "R03", "route": "home",
    "status": "not scored", "reason": "only 1 ride on this route: cross-track error needs 3", "start_basis": "none",
    "first_fix": "2026-05-06T17:20:00Z", "censored": "false", "hours_since_fix": "58.375", "start_state": "warm",
    "settle_s": "3.25", "missed_m": "12.19", "missed_share": "0.0543", "missed_is_minimum": "false", "points": "3",
    "accepted": "3", "set_aside": "0", "interval_s": "31.5", "length_m": "398.11", "spikes": "0",
    "place_basis": "none", "ttff_estimate_s": "17.3", "ttff_estimate_low_s": "11.7", "ttff_estimate_high_s": "26.9",
    "ttff_estimate_basis": "road",
}  # fmt: skip
AMBER_THU = {
    "file": "amber/thu.gpx", "track": "3", "sha256": "e5" * 32, "device": "Amber", "status": "unreadable",
    "reason": "amber/thu.gpx: found a web page", "start_basis": "none", "points": "2", "accepted": "0", "set_aside": "2",
}  # fmt: skip
TRACKS = (AMBER_MON, BASALT_MON, AMBER_TUE, BASALT_WED, AMBER_THU)

DEVIATIONS = (
    {
        "id": "d0a", "event": "E77", "file": "amber/mon.gpx", "track": "1", "device": "Amber", "ride": "R01", "route": "out",
        "from_m": "203.0", "to_m": "515.0", "from_time": "2026-05-04T07:00:35Z", "to_time": "2026-05-04T07:00:52Z",
        "peak_m": "41.37", "side": "left", "extra_m": "17.61", "suggestion": "route choice",
        "evidence": "1 of 1 other devices on the ride leave the line with it", "flag": "", "note": "",
    },
    {
        "id": "d1b", "event": "E77", "file": "basalt/mon.gpx", "track": "2", "device": "Basalt", "ride": "R01",
        "route": "out", "from_m": "306.0", "to_m": "410.0", "from_time": "2026-05-04T07:01:22Z",
        "to_time": "2026-05-04T07:02:37Z", "peak_m": "38.29", "side": "left", "extra_m": "-2.43",
        "suggestion": "route choice", "evidence": "1 of 1 other devices on the ride leave the line with it", "flag": "",
        "note": "",
    },
    {
        "id": "d1c", "event": "E88", "file": "basalt/mon.gpx", "track": "2", "device": "Basalt", "ride": "R01",
        "route": "out", "from_m": "410.0", "to_m": "621.0", "from_time": "2026-05-04T07:02:37Z",
        "to_time": "2026-05-04T07:02:59Z", "peak_m": "52.83", "side": "right", "extra_m": "7.77",
        "suggestion": "receiver error", "evidence": "it jumps, 44 m/s where its fast riding is 6 m/s", "flag": "error",
        "note": "under the bridge",
    },
)  # fmt: skip

AMBER = {
    "device": "Amber", "route": "", "rides": "12", "ttff_known": "11", "fixed_in_10s": "0.125",
    "fixed_in_10s_low": "0.0321", "fixed_in_10s_high": "0.2876", "fixed_in_30s": "0.375", "fixed_in_30s_low": "0.1432",
    "fixed_in_30s_high": "0.6543", "fixed_in_60s": "0.625", "fixed_in_60s_low": "0.3211", "fixed_in_60s_high": "0.8765",
    "ttff_never": "2", "ttff_median_s": "34.26", "ttff_low_s": "17.76", "ttff_high_s": "71.6", "ttff_ways_p": "0.0432",
    "ttff_estimate_median_s": "28.4", "ttff_estimate_low_s": "21.7", "ttff_estimate_high_s": "39.6",
    "settle_median_s": "12.6", "usable_median_s": "47.26", "missed_median_m": "81.26", "missed_low_m": "33.76",
    "missed_high_m": "122.6", "missed_worst_m": "913.6", "missed_known": "10",
    "missed_is_minimum": "true", "missed_share_median": "0.1357",
    "scored_rides": "9", "scored_km": "23.457", "xte_median_m": "2.26", "xte_median_low_m": "1.76",
    "xte_median_high_m": "3.26", "xte_p68_m": "4.16", "xte_p68_low_m": "3.66", "xte_p68_high_m": "5.36",
    "xte_p95_m": "8.46", "xte_p95_low_m": "7.56", "xte_p95_high_m": "9.86", "repeatability_m": "3.86",
    "repeatability_low_m": "2.96", "repeatability_high_m": "4.76", "receiver_errors_per_100km": "21.6",
    "receiver_errors_per_100km_low": "7.26", "receiver_errors_per_100km_high": "48.76", "receiver_errors": "5",
    "receiver_error_recordings": "0.2222", "route_choices": "3", "undecided": "4", "spikes": "6", "xte_rms_m": "6.56",
    "bias_m": "-1.16", "offset_body_m": "0.76", "offset_ground_m": "-1.36", "hausdorff_median_m": "27.6",
    "frechet_median_m": "29.6", "length_ratio_median": "1.00321", "interval_median_s": "5.26",
}  # fmt: skip
AMBER_OUT = {
    "device": "Amber", "route": "out", "rides": "10", "ttff_known": "7", "fixed_in_10s": "0.25",
    "fixed_in_10s_low": "0.0711", "fixed_in_10s_high": "0.5911", "ttff_median_s": "36.76", "ttff_low_s": "19.26",
    "ttff_high_s": "81.26", "missed_median_m": "91.76", "missed_low_m": "43.26", "missed_high_m": "133.6",
    "xte_median_m": "2.76", "xte_median_low_m": "1.96", "xte_median_high_m": "3.76", "xte_p95_m": "9.16",
    "xte_p95_low_m": "8.06", "xte_p95_high_m": "10.66", "repeatability_m": "4.06", "repeatability_low_m": "3.06",
    "repeatability_high_m": "5.06", "bias_m": "-1.66",
}  # fmt: skip
BASALT = {
    "device": "Basalt", "route": "", "rides": "11", "ttff_known": "10", "fixed_in_10s": "0.4",
    "fixed_in_10s_low": "0.1681", "fixed_in_10s_high": "0.6873", "fixed_in_30s": "0.7", "fixed_in_30s_low": "0.3968",
    "fixed_in_30s_high": "0.8922", "fixed_in_60s": "0.9", "fixed_in_60s_low": "0.5958", "fixed_in_60s_high": "0.9821",
    "ttff_never": "0", "ttff_median_s": "13.6", "ttff_low_s": "6.26", "ttff_high_s": "28.76", "ttff_ways_p": "0.5432",
    "settle_median_s": "7.76", "usable_median_s": "19.76", "missed_median_m": "54.6", "missed_low_m": "21.26",
    "missed_high_m": "77.6", "missed_worst_m": "412.6", "missed_known": "12",
    "missed_is_minimum": "false", "missed_share_median": "0.0864",
    "scored_rides": "8", "scored_km": "19.753", "xte_median_m": "5.86", "xte_median_low_m": "4.36",
    "xte_median_high_m": "7.16", "xte_p68_m": "8.96", "xte_p68_low_m": "6.86", "xte_p68_high_m": "11.46",
    "xte_p95_m": "16.36", "xte_p95_low_m": "14.16", "xte_p95_high_m": "18.56", "repeatability_m": "7.66",
    "repeatability_low_m": "5.76", "repeatability_high_m": "9.96", "receiver_errors_per_100km": "5.06",
    "receiver_errors_per_100km_low": "0.16", "receiver_errors_per_100km_high": "28.16", "receiver_errors": "1",
    "receiver_error_recordings": "0.125", "route_choices": "2", "undecided": "0", "spikes": "0", "xte_rms_m": "12.26",
    "bias_m": "", "offset_body_m": "2.36", "offset_ground_m": "-0.66", "hausdorff_median_m": "43.6",
    "frechet_median_m": "46.6", "length_ratio_median": "0.99123", "interval_median_s": "11.26",
}  # fmt: skip
BASALT_HOME = {
    "device": "Basalt", "route": "home", "rides": "4", "ttff_known": "3", "fixed_in_10s": "0.75",
    "fixed_in_10s_low": "0.3006", "fixed_in_10s_high": "0.9544", "ttff_median_s": "9.7", "missed_median_m": "47.3",
    "ttff_estimate_median_s": "15.2", "ttff_estimate_low_s": "8.3", "ttff_estimate_high_s": "24.9",
    "missed_low_m": "11.3", "missed_high_m": "66.3", "xte_median_m": "6.3", "xte_median_low_m": "4.7",
    "xte_median_high_m": "7.8", "xte_p95_m": "17.3", "xte_p95_low_m": "15.3", "xte_p95_high_m": "20.3",
    "repeatability_m": "8.3", "repeatability_low_m": "6.3", "repeatability_high_m": "11.7", "bias_m": "2.7",
}  # fmt: skip
DEVICES = (AMBER, AMBER_OUT, BASALT, BASALT_HOME)

COMPARISONS = (
    {
        "measure": "ttff_s", "first": "Amber", "second": "Basalt", "rides": "9",
        "left_out": "rides left out: 2 with different start states", "difference": "20.75", "low": "6.125",
        "high": "44.875", "p": "0.0039", "p_adjusted": "0.0117", "test": "exact sign test", "detectable": "17.375",
        "verdict": "Amber fixes later than Basalt: in the median 20.8 s",
    },
    {
        "measure": "xte_p68_m", "first": "Amber", "second": "Basalt", "rides": "8", "left_out": "", "difference": "0.457",
        "low": "0.346", "high": "0.679", "p": "0.0078", "p_adjusted": "0.0156", "test": "sign flips on the logarithm",
        "detectable": "1.234", "verdict": "Amber errs less than Basalt: ratio 0.46",
    },
    {
        "measure": "repeatability_m", "first": "Amber", "second": "Basalt", "rides": "7", "left_out": "",
        "difference": "0.89", "low": "0.568", "high": "1.457", "p": "0.4567", "p_adjusted": "0.6851",
        "test": "Student's paired test on the logarithm", "detectable": "1.679",
        "verdict": "Amber and Basalt cannot be told apart in repeatability: ratio 0.89",
    },
)  # fmt: skip
REFERENCE = (
    {
        "route": "out", "device": "", "reference": "survey.gpx", "rides": "6", "shared_m": "587.6", "trueness_m": "-3.16",
        "trueness_low_m": "-4.26", "trueness_high_m": "-2.06", "trueness_rms_m": "3.46", "repeatability_m": "",
        "accuracy_m": "3.76", "within_95_m": "6.16", "nssda_95_m": "7.36", "nssda_radius_95_m": "9.18",
        "assumption_holds": "false", "assumption": "few places",
    },
    {
        "route": "out", "device": "Amber", "reference": "survey.gpx", "rides": "5", "shared_m": "577.6",
        "trueness_m": "-2.66", "trueness_low_m": "-3.56", "trueness_high_m": "-1.76", "trueness_rms_m": "2.86",
        "repeatability_m": "1.36", "accuracy_m": "3.26", "within_95_m": "5.66", "nssda_95_m": "6.37",
        "nssda_radius_95_m": "7.96", "assumption_holds": "true", "assumption": "holds: near",
    },
)  # fmt: skip
SET_ASIDE = tuple(
    dict(zip(("file", "track", "reason", "points", "first_point"), cells, strict=True))
    for cells in (
        ("amber/mon.gpx", "1", "no_fix", "4", "0"), ("basalt/mon.gpx", "2", "outlier_jump", "2", "5"),
        ("basalt/mon.gpx", "2", "null_island", "1", "7"), ("amber/tue.gpx", "1", "no_position", "17", "0"),
        ("amber/thu.gpx", "3", "unparseable_coordinate", "2", "0"),
    )
)  # fmt: skip
CENTRELINES = (
    {"route": "out", "rides": "3", "length_m": "621.0", "median_spread_m": "5.62"},
    {"route": "home", "rides": "1", "length_m": "407.5", "median_spread_m": "3.28"},
)
STATIONS = tuple(
    dict(zip(("route", "along_m", "support", "rides", "spread_m", "band_m"), cells, strict=True))
    for cells in (
        ("out", "0.0", "3", "21", "2.11", "0.63"), ("out", "101.0", "4", "22", "3.28", "0.94"),
        ("out", "203.0", "5", "23", "4.45", "1.25"), ("out", "306.0", "6", "24", "5.62", "1.56"),
        ("out", "410.0", "7", "25", "6.79", "1.87"), ("out", "515.0", "8", "26", "7.96", "2.18"),
        ("out", "621.0", "9", "27", "9.13", "2.49"), ("home", "0.0", "3", "21", "2.11", "0.63"),
        ("home", "205.0", "4", "22", "3.28", "0.94"), ("home", "407.5", "5", "23", "4.45", "1.25"),
    )
)  # fmt: skip
FIRST_FIXES = (
    "file", "track", "device", "ride", "route", "started", "start_basis", "first_fix", "ttff_s", "settle_s", "missed_m",
    "missed_share", "missed_is_minimum",
)  # fmt: skip


def expect(where: str, expected: Sequence[Mapping[str, str]], found: Sequence[Mapping[str, str]]) -> None:
    """Compare the rows of a table, cell by cell; a column without an expectation is named, not only counted."""
    written = {name for row in expected for name in row}
    unknown = list(dict.fromkeys(name for row in found for name in row if name not in written))
    assert not unknown, (
        f"{where} has the column {', '.join(unknown)}, and nobody wrote what must stand in it: give it numbers of its own "
        "in tests/support/by_hand.py, and write its cells in tests/support/by_hand_cells.py"
    )
    gone = [name for name in dict.fromkeys(n for row in expected for n in row) if found and name not in found[0]]
    assert not gone, f"{where} has lost the column {', '.join(gone)}"
    assert len(found) == len(expected), f"{where} has {len(found)} rows instead of {len(expected)}"
    wrong = [
        f"{where}, row {number}, {name}: {value!r} instead of {wanted.get(name, '')!r}"
        for number, (wanted, row) in enumerate(zip(expected, found, strict=True), 1)
        for name, value in row.items()
        if value != wanted.get(name, "")
    ]
    assert not wrong, "\n".join(wrong)


def only(rows: Iterable[Mapping[str, str]], names: Iterable[str]) -> list[dict[str, str]]:
    """Return rows with some of their columns."""
    chosen = tuple(names)
    return [{name: row.get(name, "") for name in chosen} for row in rows]
