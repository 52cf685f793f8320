"""The checks of one simulated campaign: what gpsq said against what is true, each with its limit.

Every check returns a `Check` with the measured figures and, where it fails, one line for each case: which recording,
what was expected, what was found.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from campaign_matching import Pair, covered_by, line_on_road, pairs, route_of_direction
from scipy.stats import spearmanr

from gpsq.simulate.answers import detours_of, fault_truth, settled, undisturbed

if TYPE_CHECKING:
    from gpsq.model import Deviation
    from gpsq.results import Analysis
    from gpsq.simulate import Campaign

TTFF_WITHIN_S = 1.0
HOT_STATION_M = 6.0
FALSE_PER_TRACES = 30
#: Fewer traces have no order worth a correlation.
RANKED_FROM = 20


@dataclass
class Check:
    """One line of the score: `values` are pooled over campaigns, `failures` say what went wrong."""

    name: str
    passed: bool
    measured: str
    limit: str
    values: list[float] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)


def check_campaign(campaign: Campaign, analysis: Analysis) -> list[Check]:
    """Return all checks of one campaign."""
    both = pairs(campaign, analysis)
    return [
        every_recording(both, analysis),
        routes(campaign, analysis, both),
        time_to_fix(both),
        never_a_false_zero(both),
        *missed(campaign, both),
        *centrelines(campaign, analysis),
        *cross_track(campaign, both),
        *deviations(campaign, analysis, both),
    ]


def every_recording(both: list[Pair], analysis: Analysis) -> Check:
    listed = {t.file for t in analysis.traces} | {u.file for u in analysis.unreadable}
    lost = [f"{p.truth.file}: in no table" for p in both if p.truth.file not in listed]
    lost += [f"{p.truth.file}: has fixes, but is unreadable" for p in both if p.trace is None and not p.never_fixed]
    return Check("every recording in the tables", not lost, f"{len(both) - len(lost)}/{len(both)}", "all", [], lost)


def routes(campaign: Campaign, analysis: Analysis, both: list[Pair]) -> Check:
    chosen = {d: r.route.name for d, r in route_of_direction(campaign, analysis).items()}
    wrong = []
    for p in both:
        expected = chosen.get(p.truth.ride.plan.direction)
        if p.result is not None and not p.never_fixed and p.result.route != expected:
            wrong.append(f"{p.truth.file}: expected route {expected}, found {p.result.route!r} ({p.result.reason})")
    several = [r.route.name for r in analysis.routes if len(r.route.members) > 1]
    if len(set(chosen.values())) != len(campaign.spec.directions) or len(several) != len(campaign.spec.directions):
        wrong.append(f"expected {len(campaign.spec.directions)} routes, found {several}")
    return Check("routes", not wrong, f"{len(analysis.routes)} routes", "one each way", [], wrong)


def time_to_fix(both: list[Pair]) -> Check:
    wrong, errors = [], []
    for p in both:
        said = float("nan") if p.result is None else p.result.first_fix.seconds
        evidence, true = p.truth.prelude.evidence, p.truth.ttff_s
        what = f"{p.truth.file} ({p.truth.session.device.shows_start}, evidence {evidence})"
        if evidence == "yes" and p.never_fixed:
            if p.result is not None and not p.result.first_fix.censored and p.trace is not None:
                wrong.append(f"{what}: never fixed, expected censored, found {p.result.first_fix}")
            elif np.isfinite(said):
                wrong.append(f"{what}: never fixed, expected blank, found {said:.0f} s")
        elif evidence == "yes":
            errors.append(abs(said - true))
            if not abs(said - true) <= TTFF_WITHIN_S:
                basis = None if p.result is None else p.result.first_fix.basis
                wrong.append(f"{what}: expected {true:.0f} s, found {said:.0f} s (basis {basis})")
        elif np.isfinite(said) and not (evidence == "doubtful" and abs(said - true) <= TTFF_WITHIN_S):
            wrong.append(f"{what}: expected blank, found {said:.0f} s (true {true:.0f} s)")
    good = sum(e <= TTFF_WITHIN_S for e in errors)
    return Check("time to first fix", not wrong, f"{good}/{len(errors)} within 1 s", "all, else blank", errors, wrong)


def never_a_false_zero(both: list[Pair]) -> Check:
    zero = [p for p in both if p.result is not None and p.result.first_fix.seconds == 0.0 and p.truth.ttff_s != 0.0]
    wrong = [f"{p.truth.file}: found 0 s, true {p.truth.ttff_s:.0f} s" for p in zero]
    return Check("no false zero", not wrong, f"{len(zero)}", "0", [], wrong)


def _true_missed(p: Pair) -> float:
    """From the logged place where there is one, else from the beginning of the road, as the method defines it."""
    if p.truth.session.late_m > 0 and p.truth.session.log_has_place and p.truth.session.device.shows_start == "log":
        return p.truth.missed_m
    return float(p.truth.ride.motion.station_m[p.truth.heard.fix_s])


def missed(campaign: Campaign, both: list[Pair]) -> list[Check]:
    errors, far, unmarked, blank = [], [], [], []
    for direction in campaign.spec.directions:
        here = [p for p in both if p.truth.ride.plan.direction == direction and not p.never_fixed and p.result]
        first = min((_true_missed(p) for p in here), default=0.0)
        hot = first <= HOT_STATION_M
        for p in here:
            said, true = p.result.first_fix.missed_m, _true_missed(p)
            expected = true if hot else true - first
            if not np.isfinite(said):
                blank.append(f"{p.truth.file}: expected {expected:.0f} m, found blank ({p.result.reason})")
                continue
            errors.append(abs(said - expected))
            if errors[-1] > 40.0:
                far.append(
                    f"{p.truth.file}: expected {expected:.0f} m, found {said:.0f} m (ttff {p.truth.ttff_s:.0f} s)"
                )
            if not hot and not p.result.first_fix.missed_is_minimum:
                unmarked.append(f"{p.truth.file}: no trace of the route fixed early, but the figure is not a minimum")
    median, high = _quantiles(errors)
    return [
        Check("missed_m, median error", median <= 15.0, f"{median:.1f} m", "15 m", errors, []),
        Check("missed_m, 95th percentile", high <= 40.0, f"{high:.1f} m", "40 m", errors, far),
        Check("missed_m known", not blank, f"{len(errors)}/{len(errors) + len(blank)}", "all fixed", [], blank),
        Check("missed_m a minimum where all fixed late", not unmarked, f"{len(unmarked)} unmarked", "0", [], unmarked),
    ]


def _quantiles(errors: list[float]) -> tuple[float, float]:
    return (float(np.median(errors)), float(np.percentile(errors, 95))) if errors else (np.nan, np.nan)


def centrelines(campaign: Campaign, analysis: Analysis) -> list[Check]:
    rms, largest, length, bare = (
        Check(n, True, "", lim)
        for n, lim in (
            ("centreline RMS / (σ/√n)", "1.5"),
            ("centreline, largest", "15 m"),
            ("centreline length", "1.5 %"),
            ("nothing uncovered", "0 m"),
        )
    )
    chosen = route_of_direction(campaign, analysis)
    for direction in campaign.spec.directions:
        route = chosen.get(direction)
        if route is None or route.centreline is None:
            why = f"{direction}: no centreline ({route.reason if route else 'no route'})"
            for check in (rms, largest, length, bare):
                check.failures.append(why)
            continue
        _one_centreline(campaign, direction, route, (rms, largest, length, bare))
    for check in (rms, largest, length, bare):
        check.passed = not check.failures
        check.measured = ", ".join(f"{v:.2f}" for v in check.values)
    return [rms, largest, length, bare]


def _one_centreline(campaign, direction, route, checks) -> None:
    rms, largest, length, bare = checks
    on = line_on_road(campaign, direction, route)
    station, count = covered_by(campaign, direction)
    enough = np.interp(on.station_m, station, (count >= 2).astype(float)) > 0.999
    off = np.abs(on.offset_m[enough])
    plain = [r for r in campaign.recordings if r.ride.plan.direction == direction and r.heard.fix_s is not None]
    own = [r.offsets.rms_m(settled(r) & undisturbed(r)) for r in plain]
    sigma = float(np.sqrt(np.nanmean(np.square(own))))
    n = float(np.mean(count[count >= 2])) if (count >= 2).any() else float(len(plain))
    ratio = float(np.sqrt(np.mean(off**2)) / (sigma / np.sqrt(n)))
    rms.values.append(ratio)
    if ratio > 1.5:
        rms.failures.append(
            f"{direction}: RMS {np.sqrt(np.mean(off**2)):.2f} m, σ {sigma:.2f} m, n {n:.1f}: {ratio:.2f}"
        )
    largest.values.append(float(off.max()))
    if off.max() > 15.0:
        at = on.station_m[enough][off.argmax()]
        largest.failures.append(f"{direction}: {off.max():.1f} m off at station {at:.0f} m")
    both_ends = enough[1:] & enough[:-1]
    ridden = np.diff(on.station_m)[both_ends].sum()
    drawn = np.hypot(*np.diff(route.centreline.xy_m, axis=0).T)[both_ends].sum()
    length.values.append(100.0 * (drawn / ridden - 1.0))
    if abs(length.values[-1]) > 1.5:
        length.failures.append(
            f"{direction}: {drawn:.0f} m drawn for {ridden:.0f} m of road ({length.values[-1]:+.2f} %)"
        )
    _bare_stations(direction, on, station, count, bare)


def _bare_stations(direction, on, station, count, bare) -> None:
    """A station that two traces cover lies between the line's ends, and within 25 m of a point of it."""
    two = station[count >= 2]
    gaps = np.abs(two[:, None] - on.station_m[None, :]).min(axis=1)
    open_ = two[gaps > 25.0]
    bare.values.append(5.0 * len(open_))
    if len(open_):
        bare.failures.append(
            f"{direction}: {5 * len(open_)} m uncovered between {open_.min():.0f} and {open_.max():.0f} m;"
            f" the line runs from {on.station_m.min():.0f} to {on.station_m.max():.0f} m"
        )


def cross_track(campaign: Campaign, both: list[Pair]) -> list[Check]:
    """Against all fixes after settling but those on another road: a choice of the rider is out, decided or not, a fault in."""
    rows, unscored = [], []
    for p in both:
        if p.never_fixed or p.result is None:
            continue
        if p.result.crosstrack is None:
            unscored.append(f"{p.truth.file}: not scored ({p.result.reason})")
        else:
            plain = bool(undisturbed(p.truth).all())
            on_road = settled(p.truth) & ~p.truth.offsets.on_detour
            rows.append((p.result.crosstrack.rms_m, p.truth.offsets.rms_m(on_road), plain, p.truth.file))
    said, true, plain = (np.array([row[k] for row in rows], dtype=float) for k in (0, 1, 2))
    quiet = plain > 0
    middle, quiet_middle = _median_ratio(said, true), _median_ratio(said[quiet], true[quiet])
    rank, quiet_rank = _rank(said, true), _rank(said[quiet], true[quiet])
    lines = [
        f"{file}{'' if ok else ' (detour or fault)'}: expected {b:.2f} m, found {a:.2f} m"
        for a, b, ok, file in rows
        if not 0.75 < a / b < 1.33
    ]
    upper = _upper_ratio(campaign)
    good, ordered = 0.93 <= middle <= upper, rank >= 0.9 or len(rows) < RANKED_FROM
    return [
        Check(
            "xte_rms_m / true RMS, median",
            good,
            f"{middle:.3f} (plain traces {quiet_middle:.3f})",
            f"0.93 to {upper:.2f}",
            [middle],
            [] if good else lines,
        ),
        Check(
            "xte_rms_m, rank correlation",
            ordered,
            f"{rank:.3f} (plain traces {quiet_rank:.3f})",
            "0.9",
            [rank] if len(rows) >= RANKED_FROM else [],
            [] if ordered else lines,
        ),
        Check(
            "every fixed trace scored", not unscored, f"{len(rows)}/{len(rows) + len(unscored)}", "all", [], unscored
        ),
    ]


def _upper_ratio(campaign: Campaign) -> float:
    """Return the upper limit: 1.10, or more where so few others make the line that its own noise shows.

    A trace against the mean of n others varies by 1 + 1/n times its own variance; 6 % are left for all else.
    """
    others = (campaign.spec.days - 1) * len(campaign.spec.devices)
    return max(1.10, 1.06 * float(np.sqrt(1.0 + 1.0 / others)))


def _median_ratio(said: np.ndarray, true: np.ndarray) -> float:
    return float(np.nanmedian(said / true)) if len(said) else float("nan")


def _rank(said: np.ndarray, true: np.ndarray) -> float:
    return float(spearmanr(said, true).statistic) if len(said) > 2 else float("nan")


def deviations(campaign: Campaign, analysis: Analysis, both: list[Pair]) -> list[Check]:
    maps = {d: line_on_road(campaign, d, r) for d, r in route_of_direction(campaign, analysis).items() if r.centreline}
    seen = {p.truth.file: [_stretch(v, maps, p) for v in (p.result.deviations if p.result else ())] for p in both}
    detours = [(d, p) for d in detours_of(campaign) for p in both if p.truth.file in d["files"]]
    faults = {p.truth.file: fault_truth(p.truth, p.truth.session.fault) for p in both if p.truth.session.fault}
    return [
        _detours_found(detours, seen),
        *_none_false(both, detours, faults, seen),
        _suggestions(detours, faults, seen),
    ]


@dataclass(frozen=True)
class Stretch:
    low: float
    high: float
    deviation: Deviation

    def union_share(self, other: dict) -> float:
        inner = min(self.high, other["to_m"]) - max(self.low, other["from_m"])
        outer = max(self.high, other["to_m"]) - min(self.low, other["from_m"])
        return max(inner, 0.0) / outer

    def touches(self, other: dict, margin_m: float = 60.0) -> bool:
        return self.low < other["to_m"] + margin_m and self.high > other["from_m"] - margin_m

    def __str__(self) -> str:
        v = self.deviation
        return f"{self.low:.0f} to {self.high:.0f} m, peak {v.peak_m:.0f} m, {v.suggestion} ({v.evidence})"


def _stretch(deviation: Deviation, maps, p: Pair) -> Stretch:
    on = maps[p.truth.ride.plan.direction]
    return Stretch(on.road_station(deviation.from_m), on.road_station(deviation.to_m), deviation)


def _detours_found(detours, seen) -> Check:
    shares, lost = [], []
    for detour, p in detours:
        best = max((s.union_share(detour) for s in seen[p.truth.file]), default=0.0)
        shares.append(best)
        if best < 0.5:
            found = "; ".join(str(s) for s in seen[p.truth.file]) or "nothing"
            lost.append(
                f"{p.truth.file}: expected a detour {detour['from_m']:.0f} to {detour['to_m']:.0f} m, peak"
                f" {detour['peak_m']:.0f} m; overlap {best:.2f}; found {found}"
            )
    good = sum(s >= 0.5 for s in shares)
    return Check("detours found", not lost, f"{good}/{len(shares)}", "overlap ≥ 0.5", shares, lost)


def _none_false(both, detours, faults, seen) -> list[Check]:
    """One false deviation is free for every 30 recordings, none in fewer; a false choice of road never is."""
    false, chosen = [], []
    for p in both:
        planted = [d for d, q in detours if q is p] + [faults[f] for f in (p.truth.file,) if f in faults]
        for s in seen[p.truth.file]:
            if not any(s.touches(other) for other in planted):
                offsets = p.truth.offsets
                here = (offsets.station_m >= s.low) & (offsets.station_m <= s.high)
                true = np.nanmax(np.abs(offsets.offset_m[here]), initial=0.0) if here.any() else np.nan
                line = f"{p.truth.file}: {s}; the recording is truly {true:.0f} m off at most there"
                false.append(line)
                chosen += [line] * (s.deviation.suggestion == "route choice")
    good = len(false) <= len(both) // FALSE_PER_TRACES
    return [
        Check("false deviations", good, f"{len(false)} in {len(both)}", "1 per 30", [len(false), len(both)], false),
        Check("false route choices", not chosen, f"{len(chosen)}", "0", [], chosen),
    ]


def _suggestions(detours, faults, seen) -> Check:
    wrong = []
    for detour, p in detours:
        hits = [s for s in seen[p.truth.file] if s.union_share(detour) >= 0.5]
        expected = {"route choice"} if len(detour["files"]) > 1 else {"route choice", "cannot be told"}
        wrong += [f"{p.truth.file}: a detour is called {s}" for s in hits if s.deviation.suggestion not in expected]
    for file, fault in faults.items():
        hits = [s for s in seen[file] if s.touches(fault, 0.0)]
        wrong += [f"{file}: a fault is called {s}" for s in hits if s.deviation.suggestion == "route choice"]
    return Check("suggestions", not wrong, f"{len(wrong)} wrong", "none wrong", [], wrong)
