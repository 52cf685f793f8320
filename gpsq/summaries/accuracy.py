"""Trueness, precision and accuracy against a reference line, in the sense of ISO 5725-1.

Trueness is how near the mean of many results lies to the reference, precision how near independent results lie to one
another, accuracy both together: mean square error = bias² + variance. Without a reference only precision is measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries.station_table import effective_stations, sd_over_rides
from gpsq.summary_types import AgainstReference

if TYPE_CHECKING:
    from gpsq.model import FloatArray


#: The accuracy standard's least number of check points (FGDC-STD-007.3-1998, section 3.2.2).
FEWEST_CHECK_POINTS = 20
#: The 95 % figure from the root mean square is used when it lies this near the one counted.
AGREEMENT = 0.1


def against_reference(offset_m: FloatArray, confidence: float = 0.95) -> AgainstReference:
    """Return trueness, precision and accuracy of signed offsets from a reference line.

    Parameters
    ----------
    offset_m : (n, m) one row per ride (one row for a centreline), one column per station; nan where not covered.

    Examples
    --------
    >>> found = against_reference(np.array([[2.0, 2.0], [4.0, 4.0]]))
    >>> found.bias_m.value, round(found.precision_m, 3), round(found.accuracy_m**2, 3)
    (3.0, 1.414, 10.0)
    """
    known = offset_m[np.isfinite(offset_m)]
    rows = offset_m[np.isfinite(offset_m).any(axis=1)]
    if not known.size:
        nan, said = float("nan"), "no station is covered"
        return AgainstReference(0, intervals.mean(known), nan, nan, nan, nan, nan, nan, False, said)
    accuracy = float(np.sqrt(np.mean(known**2)))
    counted = float(np.quantile(np.abs(known), 0.95))
    standard = accuracy * axis_factor()
    holds, text = _assumption(counted, standard, _check_points(rows - known.mean()))
    precision = sd_over_rides(rows)
    # The median of a ride, as everywhere: one fault of a hundred metres is no offset of the whole.
    bias = intervals.mean(np.array([np.nanmedian(row) for row in rows]), confidence)
    return AgainstReference(
        len(rows), bias, _systematic(rows, precision),
        precision, accuracy, counted, standard, radius(accuracy), holds, text,
    )  # fmt: skip


def _systematic(rows: FloatArray, precision: float) -> float:
    """Root mean square of the mean over rides at each station, less the noise that is left in such a mean."""
    known = np.isfinite(rows)
    count = known.sum(axis=0)
    covered = count > 0
    means = np.where(known, rows, 0.0).sum(axis=0)[covered] / count[covered]
    noise = np.mean(precision**2 / count[covered]) if np.isfinite(precision) else 0.0
    return float(np.sqrt(max(np.mean(means**2) - noise, 0.0)))


def _check_points(rows: FloatArray) -> float:
    """Return how many independent places the offsets are worth: neighbours along a route err together."""
    return len(rows) * effective_stations(rows)


def _assumption(counted: float, standard: float, points: float) -> tuple[bool, str]:
    off = standard / counted - 1 if counted > 0 else 0.0
    if points < FEWEST_CHECK_POINTS:
        return False, (
            f"does not hold: the offsets are worth {int(points)} independent check points, "
            f"the standard asks for {FEWEST_CHECK_POINTS}"
        )
    if abs(off) > AGREEMENT:
        side = "above" if off > 0 else "below"
        return False, f"does not hold: not normal about nought, the figure is {abs(off):.0%} {side} the one counted"
    return True, f"holds: the figure lies within {AGREEMENT:.0%} of the one counted"


def axis_factor(probability: float = 0.95) -> float:
    """Return the factor from a root mean square on one axis to the size kept with that probability.

    For normal errors without bias; FGDC-STD-007.3-1998 (NSSDA), section 3.2.2: 1.9600 at 95 %.
    """
    from scipy.special import ndtri

    return float(ndtri((1 + probability) / 2))


def radius(rms_x_m: float, rms_y_m: float | None = None, probability: float = 0.95) -> float:
    """Return the radius round the true place that holds that share of fixes, for normal errors without bias.

    Parameters
    ----------
    rms_x_m, rms_y_m : root mean square errors on the two axes; the second is the first where it is not given.
    probability : 0.5 gives the circular error probable, 0.95 the figure of FGDC-STD-007.3-1998 (NSSDA).

    Notes
    -----
    With equal axes √(−2 ln(1 − p)) times the error of one axis: 1.1774 at 50 %, 2.4477 at 95 %. With unequal ones
    exact, where the standard's own 2.4477 × ½ (x + y) is 5.9 % too small at a ratio of 0.6.

    Examples
    --------
    >>> round(radius(1.0), 4), round(radius(1.0, 0.6), 4)
    (2.4477, 2.0813)
    """
    from scipy.optimize import brentq

    small, large = sorted((rms_x_m, rms_x_m if rms_y_m is None else rms_y_m))
    if not small > 0:
        return large * axis_factor(probability)
    angle = (np.arange(720) + 0.5) * np.pi / 720
    # Along each direction the squared radius is exponential; the share inside r is the mean over all directions.
    sharp = np.cos(angle) ** 2 / large**2 + np.sin(angle) ** 2 / small**2

    def share_outside(r: float) -> float:
        return float(np.mean(np.exp(-(r**2) * sharp / 2) / sharp)) / (large * small) - (1 - probability)

    return float(brentq(share_outside, 0.0, 10 * large, xtol=1e-9 * large))
