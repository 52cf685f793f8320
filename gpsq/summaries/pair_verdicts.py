"""The verdict of a comparison of two devices, in a sentence: one measure, the word and the sign together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.settings import Settings
    from gpsq.summary_types import Interval, PairedComparison


@dataclass(frozen=True)
class _Words:
    """How a measure is spoken of: what the worse device does, what the better one does, its name and its unit."""

    worse: str
    better: str
    name: str
    unit: str = ""


MAY_BE_CHANCE = "such a difference may be chance"
#: No p is printed as nought.
LEAST_P = 0.001

WORDS = {
    "ttff_s": _Words("fixes later", "fixes sooner", "time to first fix", "s"),
    "missed_m": _Words("misses more road", "misses less road", "road missed before the first fix", "m"),
    "xte_p68_m": _Words("errs more", "errs less", "cross-track error"),
    "repeatability_m": _Words("scatters more", "scatters less", "repeatability"),
}


def with_verdict(found: PairedComparison, settings: Settings, compared: int, withheld: str = "") -> PairedComparison:
    """Return the comparison with its verdict, and with whether it names a device.

    A device is named only where the interval holds no equality and the p allowed for all `compared` comparisons keeps
    the level.
    """
    words, names = WORDS[found.measure], f"{found.first} and {found.second}"
    if withheld:
        return replace(found, verdict=f"{names} are not compared in {words.name}: {withheld}")
    if found.rides < 2 or np.isnan(found.p):
        rides = f"{found.rides} usable ride{'s' * (found.rides != 1)}"
        return replace(found, verdict=f"nothing can be said of {words.name}: {names} share {rides}")
    equal = 1.0 if found.is_ratio else 0.0
    low, high = found.difference.low, found.difference.high
    if np.isnan(low):
        return replace(
            found,
            verdict=f"{names} share too few rides to be told apart in {words.name}: {_grounds(found, settings.confidence)}",
        )
    if low <= equal <= high or found.p > 1 - settings.confidence:
        return replace(
            found,
            verdict=f"{names} cannot be told apart in {words.name}: {_grounds(found, settings.confidence)}{_missed(found)}",
        )
    worse_first = found.difference.value > equal if np.isfinite(found.difference.value) else low > equal
    does = words.worse if worse_first else words.better
    text = f"{found.first} {does} than {found.second}: {_grounds(found, settings.confidence)}"
    chance = found.p_adjusted > 1 - settings.confidence
    if chance:
        text += f"; among {compared} comparisons {MAY_BE_CHANCE}"
    return replace(found, verdict=text, shown=not chance)


def _grounds(found: PairedComparison, confidence: float) -> str:
    """Return the figure with its interval, test and number of rides, and which rides are left out."""
    unit, middle = WORDS[found.measure].unit, found.difference.value
    said = f"ratio {middle:.2f}" if found.is_ratio else f"in the median {_number(middle, unit)}"
    inside = (
        ""
        if np.isnan(found.difference.low)
        else f"{100 * confidence:g} % interval {_interval(found.difference, unit)}, "
    )
    left_out = f"; {found.left_out}" if found.left_out else ""
    p = f"p = {found.p:.3f}" if found.p >= LEAST_P else f"p < {LEAST_P}"
    return f"{said} ({inside}{found.test}, {p}, {found.rides} rides{left_out})"


def _interval(difference: Interval, unit: str) -> str:
    """Return the bounds of a difference in its unit, or of a ratio; a bound that is infinite is none."""
    low, high = difference.low, difference.high
    if not unit:
        return f"{low:.2f} to {high:.2f}"
    if np.isfinite([low, high]).all():
        return f"{low:.1f} to {high:.1f} {unit}"
    if np.isinf(low) and np.isinf(high):
        return "without ends"
    return f"over {low:.1f} {unit}" if np.isfinite(low) else f"under {high:.1f} {unit}"


def _number(value: float, unit: str) -> str:
    if np.isnan(value):
        return "of no known size"
    return f"{value:.1f} {unit}" if np.isfinite(value) else "without end"


def _missed(found: PairedComparison) -> str:
    if not np.isfinite(found.detectable):
        return ""
    size = (
        f"ratio under {found.detectable:.2f}"
        if found.is_ratio
        else (f"difference under {found.detectable:.1f} {WORDS[found.measure].unit}")
    )
    return f"; a true {size} is likely to be missed with so many rides"
