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
    Column("spikes", "count", "how often fixes went off and came back within seconds, kept or set aside", "result.spikes"),
    Column("largest_spike_m", "2", "how far off the largest spike was", "result.largest_spike_m", "m"),
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
    Column("rides", "count", "number of rides", "summary.rides"),
    *with_bounds(
        Column("ttff_median_s", "2", "median time to first fix (Kaplan and Meier 1958)", "ttff_median_s", "s",
               "median time to first fix", parts=("fix", "state", "route", "terminal interval", "compare")),
        "ttff",
    ),
    Column("ttff_known", "count", "recordings with a time to first fix, those that never fixed among them", "ttff_known"),
    Column("ttff_censored", "count", "recordings that never fixed", "ttff_censored"),
    Column("fixed_in_10s", "4", "share of the recordings that had fixed within 10 s", "fixed_in_10s", "share",
           f"fixed within 10{GAP}s", "fixed in 10 s", ("fix", "state")),
    Column("fixed_in_30s", "4", "share of the recordings that had fixed within 30 s", "fixed_in_30s", "share",
           f"within 30{GAP}s", "fixed in 30 s", ("fix", "state", "terminal interval", "compare")),
    Column("fixed_in_60s", "4", "share of the recordings that had fixed within 60 s", "fixed_in_60s", "share",
           f"within 60{GAP}s", "fixed in 60 s", ("fix", "state")),
    Column("settle_median_s", "2", "median of the seconds from the first fix until the recording stays near its "
           "centreline", "settle_median_s", "s", "usable after (settled)", parts=("fix",)),
    *with_bounds(
        Column("missed_median_m", "2", "median of the metres of road missed before the first fix", "missed_median_m", "m",
               "road missed", "road missed, median", ("fix", "route", "terminal")),
        "missed",
    ),
    Column("missed_share_median", "4", "median of the share of the route that was missed", "missed_share_median", "share",
           "share of the route", "of the route", ("fix", "terminal")),
    *with_bounds(
        Column("repeatability_m", "2", "standard deviation of the device's rides about their own mean (ISO 5725-2)",
               "repeatability_m", "m", "repeatability, standard deviation", "repeatability",
               ("errors", "route", "terminal interval", "compare")),
    ),
    Column("repeatability_plain_m", "2", "the same without deviations that wait for a decision", "repeatability_plain_m",
           "m"),
    *with_bounds(
        Column("xte_rms_m", "2", "root mean square cross-track error", "xte_rms_m", "m", "cross-track error, RMS",
               "cross-track RMS", ("errors", "route", "terminal interval", "compare")),
    ),
    Column("xte_rms_plain_m", "2", "the same without deviations that wait for a decision", "xte_rms_plain_m", "m"),
    Column("xte_p95_m", "2", "95 % of the road lies within so many metres of the centreline", "xte_p95_m", "m",
           "95 % of road within", parts=("errors", "route", "terminal")),
    Column("bias_m", "2", "mean over recordings of the median cross-track error, positive to the left of travel", "bias_m",
           "m", "bias (+ left)", parts=("errors",)),
    Column("open_deviations", "count", "deviations that wait for a decision", "open_deviations"),
    Column("hausdorff_median_m", "2", "median Hausdorff distance from the centreline, over the shared stretch",
           "hausdorff_median_m", "m", "Hausdorff distance, median", parts=("errors",)),
    Column("frechet_median_m", "2", "median Fréchet distance from the centreline, over the shared stretch",
           "frechet_median_m", "m", "Fréchet distance, median", "Fréchet, median", ("errors", "terminal")),
    Column("length_ratio_median", "5", "median of the recorded length over the centreline's", "length_ratio_median",
           "ratio", "length against centreline", parts=("errors",)),
    Column("spikes", "count", "how often fixes went off and came back within seconds, kept or set aside", "spikes", "",
           "spikes, off and back within seconds", parts=("errors",)),
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
FILES = ("tracks", "deviations", "devices", "reference", "set_aside", "centrelines", "stations", "first_fixes")


def of_file(name: str) -> tuple[Column, ...]:
    """Return the columns of a table by the name of its file without ending, or of its layer."""
    tables = {
        "tracks": TRACKS,
        "deviations": DEVIATIONS,
        "devices": DEVICES,
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
