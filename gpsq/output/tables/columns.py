"""The one table of columns: what each is called, means and is measured in, where it is found and where it is shown.

CSV files, layers, report, local page, terminal, the comparison of campaigns and ``docs/report.md`` all read it. To add a
figure to a device, compute it in its stage and enter it here.
"""

from __future__ import annotations

from gpsq.output.tables.column import Column, text, with_bounds
from gpsq.output.wording import GAP

_FIRST = "first_fixes"
_WHOSE = (
    text("file", "path of the recording below the campaign's folder", "trace.file", _FIRST),
    Column("track", "count", "number of the recording within its file, from 1", "trace.track", parts=(_FIRST,)),
)
_DEVICE = text("device", "name of the device", "trace.device", _FIRST)
_RIDE = text("ride", "name of the ride; recordings of one rider at one time share it", "result.ride", _FIRST)
_ROUTE = "name of the route: one way in one direction"

TRACKS: tuple[Column, ...] = (
    *_WHOSE,
    text("sha256", "SHA-256 of the recording's document", "trace.sha256"),
    _DEVICE,
    _RIDE,
    text("route", _ROUTE, "result.route", _FIRST),
    text("status", "scored, not scored or unreadable", "result.status"),
    text("reason", "why it was not scored or not read", "result.reason"),
    Column("started", "time", "start of the recording, UTC", "result.first_fix.started", parts=(_FIRST,)),
    text("start_basis", "how the start is known: log, points before fix, file time or none", "result.first_fix.basis",
          _FIRST),
    Column("first_fix", "time", "time of the first fix, UTC", "result.first_fix.first_fix", parts=(_FIRST,)),
    Column("ttff_s", "3", "time to first fix in seconds", "result.first_fix.seconds", "s", parts=(_FIRST,)),
    Column("ttff_at_least_s", "3", "lower bound in seconds where the time to first fix is unknown",
           "result.first_fix.at_least_s", "s"),
    Column("censored", "bool", "the recording never fixed", "result.first_fix.censored"),
    Column("hours_since_fix", "3", "hours since the device's last fix before this recording",
           "result.first_fix.hours_since_fix", "h"),
    text("start_state", "hot, warm, cold or unknown", "result.first_fix.start_state"),
    Column("settle_s", "3", "seconds from the first fix until the recording stays near its centreline",
           "result.first_fix.settle_s", "s", parts=(_FIRST,)),
    Column("missed_m", "2", "metres along the route from the start to the first fix", "result.first_fix.missed_m", "m",
           parts=(_FIRST,)),
    Column("missed_share", "4", "share of the route that was missed", "result.first_fix.missed_share", "share",
           parts=(_FIRST,)),
    Column("missed_is_minimum", "bool", "the distance missed is a lower bound", "missed_is_minimum", parts=(_FIRST,)),
    Column("points", "count", "points in the recording, or points set aside", "trace.points"),
    Column("accepted", "count", "points that are usable fixes", "trace.accepted"),
    Column("set_aside", "count", "points that are not usable", "set_aside"),
    Column("interval_s", "3", "typical seconds between fixes", "result.interval_s", "s"),
    Column("length_m", "2", "length in metres", "result.length_m", "m"),
    Column("scored_m", "2", "metres of road that the errors rest on", "result.crosstrack.scored_m", "m"),
    Column("xte_bias_m", "2", "median cross-track error in metres, positive to the left of travel",
           "result.crosstrack.bias_m", "m"),
    Column("xte_rms_m", "2", "root mean square cross-track error in metres", "result.crosstrack.rms_m", "m"),
    Column("xte_median_m", "2", "median absolute cross-track error in metres", "result.crosstrack.median_m", "m"),
    Column("xte_p95_m", "2", "95th percentile of the absolute cross-track error in metres", "result.crosstrack.p95_m",
           "m"),
    Column("within_5m", "4", "share of the road within 5 m of the centreline", "result.crosstrack.within_5m", "share"),
    Column("within_10m", "4", "share of the road within 10 m of the centreline", "result.crosstrack.within_10m", "share"),
    Column("hausdorff_m", "2", "Hausdorff distance from the centreline in metres, over the shared stretch",
           "result.curves.hausdorff_m", "m"),
    Column("frechet_m", "2", "Fréchet distance from the centreline in metres, over the shared stretch",
           "result.curves.frechet_m", "m"),
    Column("frechet_discrete_m", "2", "discrete Fréchet distance in metres, over the shared stretch",
           "result.curves.frechet_discrete_m", "m"),
    Column("coverage", "4", "share of the centreline that the recording follows in order", "result.curves.coverage",
           "share"),
    Column("length_ratio", "5", "recorded length over the centreline's", "result.curves.length_ratio", "ratio"),
    Column("deviations", "count", "number of deviations", "deviations"),
    text("name", "name that the recording bears in its file", "trace.name"),
    Column("xte_p68_m", "2", "68.27th percentile of the absolute cross-track error in metres", "result.crosstrack.p68_m",
           "m"),
    Column("spikes", "count", "how often fixes went off and came back within seconds, kept or set aside", "result.spikes"),
    Column("largest_spike_m", "2", "how far off the largest spike was", "result.largest_spike_m", "m"),
    Column("ttff_estimate_s", "1", "time to first fix worked out, not measured, where the start is not recorded; always with its "
           "bounds", "result.first_fix.estimate_s", "s"),
    Column("ttff_estimate_low_s", "1", "lower bound of ttff_estimate_s", "result.first_fix.estimate_low_s", "s"),
    Column("ttff_estimate_high_s", "1", "upper bound of ttff_estimate_s, blank where nothing bounds it",
           "result.first_fix.estimate_high_s", "s"),
    text("ttff_estimate_basis", "what ttff_estimate_s is worked out from: companion, file name or road",
         "result.first_fix.estimate_basis"),
    Column("missed_low_m", "2", "lower bound of missed_m, from how well the place of the start is known; blank where missed_m "
           "is a lower bound itself", "result.first_fix.missed_low_m", "m"),
    Column("missed_high_m", "2", "upper bound of missed_m", "result.first_fix.missed_high_m", "m"),
    text("place_basis", "how the place of the start is known: log, hot start, seen setting off, way back or none",
         "result.first_fix.place_basis"),
    Column("ended_early_m", "2", "metres of road between the end of the recording and where the others of its route end, "
           "blank where it ended with them", "result.ended_early_m", "m"),
)  # fmt: skip

DEVIATIONS: tuple[Column, ...] = (
    text("id", "name of the deviation, from the recording alone", "deviation.id"),
    text("event", "name that deviations share whose recordings leave the line together on one ride", "deviation.event"),
    *_WHOSE,
    _DEVICE,
    _RIDE,
    text("route", _ROUTE, "deviation.route"),
    Column("from_m", "2", "beginning, in metres along the route's centreline", "deviation.from_m", "m"),
    Column("to_m", "2", "end, in metres along the route's centreline", "deviation.to_m", "m"),
    Column("from_time", "time", "beginning, UTC", "deviation.from_time"),
    Column("to_time", "time", "end, UTC", "deviation.to_time"),
    Column("peak_m", "2", "largest distance from the centreline in metres", "deviation.peak_m", "m"),
    text("side", "left or right of travel", "deviation.side"),
    Column(
        "extra_m",
        "2",
        "metres longer than the centreline over the same stretch, negative where shorter",
        "deviation.extra_m",
        "m",
    ),
    text(
        "suggestion", "what gpsq takes it for: route choice, receiver error or cannot be told", "deviation.suggestion"
    ),
    text("evidence", "what the suggestion rests on", "deviation.evidence"),
    text("flag", "the person's decision: intentional, error or blank", "deviation.flag"),
    text("note", "the person's note", "deviation.note"),
)

DEVICES: tuple[Column, ...] = (
    text("device", "name of the device", "summary.device"),
    text("route", f"{_ROUTE}; blank over all routes", "summary.route"),
    Column("rides", "count", "number of rides", "summary.rides", "count"),
    Column("ttff_known", "count", "recordings with a time to first fix, those that never fixed among them", "ttff_known",
           "count"),
    *with_bounds(
        Column("fixed_in_10s", "4", "share of the recordings that had fixed within 10 s (Wilson's interval)",
               "fixed_in_10s", "share", f"fixed within 10{GAP}s", "fixed in 10 s", ("fix", "state", "route", "terminal")),
    ),
    *with_bounds(
        Column("fixed_in_30s", "4", "share of the recordings that had fixed within 30 s", "fixed_in_30s", "share",
               f"within 30{GAP}s", "in 30 s", ("fix", "state", "terminal", "compare")),
    ),
    *with_bounds(
        Column("fixed_in_60s", "4", "share of the recordings that had fixed within 60 s", "fixed_in_60s", "share",
               f"within 60{GAP}s", "in 60 s", ("fix", "state", "terminal")),
    ),
    Column("ttff_never", "count", "recordings that never fixed", "ttff_never", "count", "never fixed", "never",
           ("fix", "state", "terminal", "compare")),
    *with_bounds(
        Column("ttff_median_s", "2", "median time to first fix (Kaplan and Meier 1958)", "ttff_median_s", "s",
               "median time to first fix", parts=("fix", "state", "route", "terminal interval", "compare"),
               counted="ttff_known"),
        "ttff",
    ),
    *with_bounds(
        Column("ttff_estimate_median_s", "1", "median of the times to first fix, measured or worked out where the start is not "
               "recorded; blank where none is worked out", "ttff_estimate_median_s", "s",
               "median with times worked out", "with times worked out", ("fix", "route", "terminal interval")),
        "ttff_estimate",
    ),
    Column("ttff_ways_p", "4", "p of the times of the two ways being alike (rank sum, Wilcoxon 1945)", "ttff_ways_p"),
    Column("settle_median_s", "2", "median of the seconds from the first fix until the recording stays near its "
           "centreline", "settle_median_s", "s", counted="ttff_known"),
    Column("usable_median_s", "2", "median of the seconds from the start until the recording stays near its centreline",
           "usable_median_s", "s", "start to usable", parts=("fix",), counted="ttff_known"),
    Column("missed_known", "count", "recordings of which it is known what they missed", "missed_known", "count"),
    *with_bounds(
        Column("missed_median_m", "2", "median of the metres of road missed before the first fix", "missed_median_m", "m",
               "road missed, median", parts=("fix", "route", "terminal"), counted="missed_known"),
        "missed",
    ),
    Column("missed_worst_m", "2", "most metres of road missed before a first fix", "missed_worst_m", "m", "at worst",
           parts=("fix", "terminal"), counted="missed_known"),
    Column("missed_is_minimum", "bool", "the median of the metres missed is a lower bound", "missed_is_minimum"),
    Column("missed_share_median", "4", "median of the share of the route that was missed", "missed_share_median", "share",
           "share of the route", parts=("fix",), counted="missed_known"),
    Column("scored_rides", "count", "rides that the errors rest on", "scored_rides", "count"),
    Column("scored_km", "3", "kilometres of road that the errors rest on, each ride's counted", "scored_km", "km"),
    *with_bounds(
        Column("xte_median_m", "2", "half of the road lies within so many metres of the line (jackknife over rides)",
               "xte_median_m", "m", "half of the road within", parts=("errors", "route", "terminal interval", "compare"),
               counted="scored_rides"),
    ),
    *with_bounds(
        Column("xte_p68_m", "2", "68.27 % of the road lies within so many metres of the line", "xte_p68_m", "m",
               "two thirds within", parts=("errors",), counted="scored_rides"),
    ),
    *with_bounds(
        Column("xte_p95_m", "2", "95 % of the road lies within so many metres of the line; bounds from six rides on",
               "xte_p95_m", "m", "95 % of the road within", "95 % within",
               ("errors", "route", "terminal interval", "compare"), counted="scored_rides"),
    ),
    *with_bounds(
        Column("repeatability_m", "2", "standard deviation of the device's rides about their own middle (ISO 5725-2), from "
               "the 68th percentile", "repeatability_m", "m", "repeatability, standard deviation", "repeatability",
               ("errors", "route", "terminal interval", "compare"), counted="scored_rides"),
    ),
    *with_bounds(
        Column("receiver_errors_per_100km", "2", "deviations that are receiver errors, decided or suggested, per 100 km of "
               "scored road (Garwood's interval)", "receiver_errors_per_100km", "", "receiver errors per 100 km",
               "errors per 100 km", ("errors", "terminal interval", "compare")),
    ),
    Column("receiver_errors", "count", "deviations that are receiver errors, decided or suggested", "receiver_errors",
           "count"),
    Column("receiver_error_recordings", "4", "share of the scored recordings that have one", "receiver_error_recordings",
           "share"),
    Column("route_choices", "count", "deviations that are the rider's choice, decided or suggested; in no error",
           "route_choices", "count"),
    Column("undecided", "count", "deviations that are neither decided nor can be told; in the errors", "undecided",
           "count", "undecided deviations", parts=("errors",)),
    Column("spikes", "count", "how often fixes went off and came back within seconds, kept or set aside", "spikes", "",
           "spikes, off and back within seconds", parts=("errors",)),
    Column("xte_rms_m", "2", "root mean square cross-track error; one fault outweighs all else in it", "xte_rms_m", "m",
           "root mean square", parts=("errors",), counted="scored_rides"),
    Column("bias_m", "2", "mean over recordings of the median cross-track error, positive to the left of travel; blank over "
           "all routes", "bias_m", "m", "bias (+ left)", parts=("route",), counted="scored_rides"),
    Column("offset_body_m", "2", "offset that goes with the rider, + to the left: half the sum of the two ways' biases",
           "offset_body_m", "m", "offset of the body (+ left)", parts=("errors",)),
    Column("offset_ground_m", "2", "offset that goes with the ground, + to the left of the way named first: half their "
           "difference", "offset_ground_m", "m", "offset of the ground (+ left of the first way)", parts=("errors",)),
    Column("hausdorff_median_m", "2", "median Hausdorff distance from the centreline, over the shared stretch",
           "hausdorff_median_m", "m", "Hausdorff distance, median", parts=("errors",), counted="scored_rides"),
    Column("frechet_median_m", "2", "median Fréchet distance from the centreline, over the shared stretch",
           "frechet_median_m", "m", "Fréchet distance, median", parts=("errors",), counted="scored_rides"),
    Column("length_ratio_median", "5", "median of the recorded length over the centreline's", "length_ratio_median",
           "ratio", "length against centreline", parts=("errors",), counted="scored_rides"),
    Column("interval_median_s", "2", "median over recordings of the seconds between fixes", "interval_median_s", "s"),
)  # fmt: skip

COMPARISONS: tuple[Column, ...] = (
    text("measure", "what is compared: ttff_s, missed_m, xte_p68_m or repeatability_m", "row.measure"),
    text("first", "name of one device", "row.first"),
    text("second", "name of the other", "row.second"),
    Column("rides", "count", "rides that both recorded and that count", "row.rides"),
    text("left_out", "which shared rides do not count, and why", "row.left_out"),
    Column("difference", "3", "median over rides of first less second, in s or m; of xte_p68_m and repeatability_m the ratio "
           "of first to second; blank where it has no end", "row.difference.value"),
    Column("low", "3", "lower bound of the difference or ratio", "row.difference.low"),
    Column("high", "3", "upper bound of the difference or ratio", "row.difference.high"),
    Column("p", "4", "chance of so large a difference between devices that are alike, two-sided", "row.p"),
    Column("p_adjusted", "4", "the same, allowing for all comparisons made (Benjamini and Hochberg 1995)",
           "row.p_adjusted"),
    text("test", "the test that p comes from", "row.test"),
    Column("detectable", "3", "smallest true difference or ratio that so many rides show with 80 % power in this test",
           "row.detectable"),
    text("verdict", "what it comes to, in a sentence", "row.verdict"),
)  # fmt: skip

REFERENCE: tuple[Column, ...] = (
    text("route", f"{_ROUTE}; blank over all routes", "row.route"),
    text("device", "name of the device; blank for the centreline", "row.device"),
    text("reference", "file of the reference line", "row.file"),
    Column("rides", "count", "rides that count", "row.rides"),
    Column("shared_m", "1", "length of the reference that they cover", "row.shared_m", "m"),
    Column("trueness_m", "2", "median offset, + to the left of travel, mean over rides", "row.found.bias_m.value", "m"),
    Column("trueness_low_m", "2", "lower bound of trueness_m (Student, over rides)", "row.found.bias_m.low", "m"),
    Column("trueness_high_m", "2", "upper bound of trueness_m", "row.found.bias_m.high", "m"),
    Column("trueness_rms_m", "2", "root mean square of the mean track's offset along the road", "row.found.systematic_m",
           "m"),
    Column("repeatability_m", "2", "spread of the rides about their mean track (ISO 5725-2); blank for a centreline",
           "row.found.precision_m", "m"),
    Column("accuracy_m", "2", "root mean square of all offsets: both together", "row.found.accuracy_m", "m"),
    Column("within_95_m", "2", "what 95 % of the road keeps, counted", "row.found.within_95_m", "m"),
    Column("nssda_95_m", "2", "1.96 times the root mean square (FGDC-STD-007.3-1998); takes errors to be normal about "
           "nought", "row.found.standard_95_m", "m"),
    Column("nssda_radius_95_m", "2", "2.4477 times the root mean square (the same standard, horizontal)",
           "row.found.radius_95_m", "m"),
    Column("assumption_holds", "bool", "whether these two may be used", "row.found.assumption_holds"),
    text("assumption", "why, or why not", "row.found.assumption"),
)  # fmt: skip

SET_ASIDE: tuple[Column, ...] = (
    *_WHOSE,
    text("reason", "why they were left out", "group.reason"),
    Column("points", "count", "points set aside for this reason", "group.points"),
    Column("first_point", "count", "first point set aside for this reason, counted from 0 in the recording",
           "group.first_point"),
)  # fmt: skip

CENTRELINES: tuple[Column, ...] = (
    text("route", _ROUTE, "route"),
    Column("rides", "count", "number of rides", "rides"),
    Column("length_m", "2", "length in metres", "length_m", "m"),
    Column("median_spread_m", "2", "median over the line of the spread across it, in metres", "median_spread_m", "m"),
)
STATIONS: tuple[Column, ...] = (
    text("route", _ROUTE, "route"),
    Column("along_m", "2", "metres along the route's centreline", "along_m", "m"),
    Column("support", "count", "recordings that reach this station", "support"),
    Column("rides", "count", "number of rides", "rides"),
    Column("spread_m", "2", "robust standard deviation of the recordings across the line, in metres", "spread_m", "m"),
    Column(
        "band_m", "2", "half-width of the confidence band of the line in metres, from resampling rides", "band_m", "m"
    ),
)


#: Files of results, and layers beside them, that have a table of columns here.
FILES = (
    "tracks",
    "deviations",
    "devices",
    "comparisons",
    "reference",
    "set_aside",
    "centrelines",
    "stations",
    "first_fixes",
)


def of_file(name: str) -> tuple[Column, ...]:
    """Return the columns of a table by the name of its file without ending, or of its layer."""
    tables = {
        "tracks": TRACKS,
        "deviations": DEVIATIONS,
        "devices": DEVICES,
        "comparisons": COMPARISONS,
        "reference": REFERENCE,
        "set_aside": SET_ASIDE,
        "centrelines": CENTRELINES,
        "stations": STATIONS,
        "first_fixes": tuple(column for column in TRACKS if _FIRST in column.parts),
    }
    return tables[name]


def shown(*parts: str) -> tuple[Column, ...]:
    """Return the columns of ``devices.csv`` that are shown in any of the parts, in order."""
    return tuple(column for column in DEVICES if set(parts) & set(column.parts))


def as_markdown(name: str) -> str:
    """Return the columns of a file as the table of the documentation: name, unit and meaning.

    Examples
    --------
    >>> print(as_markdown("set_aside").splitlines()[2])
    | `file` | | path of the recording below the campaign's folder |
    """
    lines = ["| column | unit | what it is |", "|---|---|---|"]
    lines += [f"| `{c.name}` | {c.unit} | {c.meaning} |".replace("|  |", "| |") for c in of_file(name)]
    return "\n".join(lines)
