"""The finding of an overlay picture in one sentence, and what its signs mean in another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import headlines, wording
from gpsq.output.wording import short
from gpsq.summaries.devices.first_fixes import median_is_bound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.output.overlay.rides import Overlay, Ridden


def finding(overlay: Overlay) -> str:
    """Return what the picture shows: how many were fixed soon, or what was missed; and who took another road."""
    everyone = [*overlay.rides, *overlay.never_fixed]
    quick = headlines.quick([ride.fix for ride in everyone], "rides" if len(overlay.looks) == 1 else "recordings")
    where = f"Route {short(overlay.way, 24)}: "
    return where + (quick or missed_sentence(everyone)) + _other_road(overlay)


def device_counts(overlay: Overlay) -> dict[str, str]:
    """Return for each device its name with how many of its recordings were fixed soon, for the key."""
    said = {}
    for name in overlay.looks:
        count, of = headlines.quick_count(r.fix for r in (*overlay.rides, *overlay.never_fixed) if r.device == name)
        said[name] = f"{short(name, 22)}: {f'{count} of {of}' if of else 'start unknown'}"
    return said


def missed_sentence(rides: Sequence[Ridden]) -> str:
    """Return what of the road the rides missed, for want of a known start."""
    known = np.array([ride.fix.missed_m for ride in rides if np.isfinite(ride.fix.missed_m)])
    if not len(known):
        return "start unknown" if len(rides) == 1 else f"{len(rides)} recordings; when they were started is unknown"
    is_least = np.array([r.fix.missed_is_minimum for r in rides if np.isfinite(r.fix.missed_m)])
    least = "at least " if median_is_bound(known, is_least) else ""
    if np.median(known) < 0.05:
        return "no road is known to be lost before the first fix (median)"
    middle = wording.metres(float(np.median(known)))
    return f"{least}{middle} of road lost before the first fix (median)"


def _other_road(overlay: Overlay) -> str:
    left = {
        off.day for off in overlay.left_road if off.flag != "error" and (off.flag or off.suggestion != "receiver error")
    }
    named = [ride.day for ride in (*overlay.rides, *overlay.never_fixed) if ride.day in left]
    named = list(dict.fromkeys(named))
    if not named:
        return ""
    if len(named) > 2:
        return f"; {len(named)} rides left the usual road"
    return f"; {' and '.join(short(day, 14) for day in named)} left the usual road"


def key(overlay: Overlay) -> str:
    """Return what the signs of the picture mean."""
    said = "Flag: first fix, "
    said += "seconds since the start" if overlay.knows_seconds else "metres missed; no start is known, so no seconds"
    known = [np.isfinite([r.fix.seconds, r.fix.at_least_s, r.fix.estimate_s]) for r in overlay.rides]
    said += " (≈: worked out, as no start is recorded)" if any(k[2] and not k[:2].any() for k in known) else ""
    said += " (metres missed, where no start is known)" if overlay.knows_seconds and not all(map(np.any, known)) else ""
    return f"{said}. Dotted: ridden before it, not recorded. Pale: centreline and usual spread."


def asides(overlay: Overlay, unlabelled: Sequence[Ridden]) -> list[str]:
    """Return what the picture leaves out or cannot draw, each in a few words."""
    said = []
    if overlay.never_fixed:
        days = list(dict.fromkeys(short(ride.day, 14) for ride in overlay.never_fixed))
        said.append(f"never fixed: {', '.join(days[:4])}{' and more' if len(days) > 4 else ''}")
    early = [ride for ride in overlay.rides if np.isfinite(ride.ended_early_m)]
    if early:
        most = wording.metres(max(ride.ended_early_m for ride in early))
        who = f"{short(early[0].day, 14)} ended" if len(early) == 1 else f"{len(early)} recordings ended up to"
        said.append(f"{who} {most} early")
    total = sum(bool(ride.pieces_m) for ride in (*overlay.rides, *overlay.never_fixed))
    if len(overlay.drawn) < total:
        said.append(f"{len(overlay.drawn)} of {total} recordings drawn")
    if unlabelled:
        furthest = max((ride.fix.missed_m for ride in unlabelled if np.isfinite(ride.fix.missed_m)), default=np.nan)
        where = f" within {wording.metres(furthest)} of the start" if np.isfinite(furthest) else ", without a flag"
        said.append(f"{len(unlabelled)} more fixed{where}")
    return said
