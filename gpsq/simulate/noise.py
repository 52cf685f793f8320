"""Errors of a receiver: several Gauss–Markov processes, a poor first fix that settles, and faults.

A first-order Gauss–Markov process has the autocorrelation exp(−Δt/τ); sums of a few with different τ are the
customary model of the errors of satellite positions (Brown & Hwang, Introduction to Random Signals, chapter on
shaping filters; from memory). White noise alone would make a walked track twice its length (Ranacher et al. 2016, doi
10.1080/13658816.2015.1086924), which no receiver shows.
"""

from __future__ import annotations

from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray


def correlated_errors(
    rng: np.random.Generator, seconds: int, sigma_m: float, correlation: tuple[tuple[float, float], ...]
) -> FloatArray:
    """Return (seconds, 2) errors in metres, one a second, with standard deviation `sigma_m` per axis.

    Parameters
    ----------
    correlation : pairs of (share of the variance, time constant in s), 0 s being white noise.

    Examples
    --------
    >>> e = correlated_errors(np.random.default_rng(1), 20_000, 3.0, ((1.0, 10.0),))
    >>> lagged = float(np.mean(e[1:] * e[:-1]) / np.mean(e**2))
    >>> round(lagged, 2), round(float(np.exp(-1 / 10)), 2)
    (0.9, 0.9)
    """
    share = np.array([s for s, _ in correlation])
    rho = np.array([np.exp(-1.0 / tau) if tau > 0 else 0.0 for _, tau in correlation])[:, None]
    scale = sigma_m * np.sqrt(share)[:, None]
    kick = rng.standard_normal((seconds, len(share), 2)) * scale
    fresh = np.concatenate([kick[:1], kick[1:] * np.sqrt(1.0 - rho**2)])
    return np.asarray(sum(_remembering(fresh[:, k], float(rho[k, 0])) for k in range(len(share))))


def _remembering(fresh: FloatArray, rho: float) -> FloatArray:
    """Return (n, 2) the states of a process that keeps `rho` of each and adds the next of `fresh` (n, 2)."""
    states = [list(accumulate(axis, lambda state, new: state * rho + new)) for axis in fresh.T.tolist()]
    return np.array(states).T


def settling(rng: np.random.Generator, seconds: FloatArray, scale_m: float) -> FloatArray:
    """Return (n, 2) extra error of a new fix, `seconds` (n,) after it, decaying with a time constant of 6 to 20 s."""
    size_m = scale_m * rng.uniform(0.3, 1.5)
    angle = rng.uniform(0.0, 2.0 * np.pi)
    decay = np.exp(-np.maximum(seconds, 0.0) / rng.uniform(6.0, 20.0))
    return np.asarray(size_m * decay[:, None] * np.array([np.cos(angle), np.sin(angle)]))


def fault_shape(kind: str, seconds: FloatArray, length_s: float) -> FloatArray:
    """Return (n,) the share of a fault's peak at `seconds` (n,) after its beginning: a smooth "drift" or a "jump"."""
    inside = (seconds >= 0.0) & (seconds <= length_s)
    shape = np.sin(np.pi * np.clip(seconds / length_s, 0.0, 1.0)) ** 2 if kind == "drift" else np.ones_like(seconds)
    return np.where(inside, shape, 0.0)


def time_to_first_fix(rng: np.random.Generator, state: str) -> int:
    """Return whole seconds until the first fix of a receiver started "hot", "warm" or "cold".

    Without ephemeris a receiver needs 18 to 36 s of unbroken data (three subframes of 6 s in a frame of 30 s; NAVSTAR
    GPS User Equipment Introduction 1996, figure 1-5) after it has found the satellites; broken reception makes it
    wait for the next frame. A cold start searches the sky first. The shares and tails are invented.
    """
    if state == "hot":
        return 1 + int(rng.exponential(2.0))
    seconds = rng.uniform(18.0, 36.0) + rng.gamma(2.0, 2.0)
    while rng.random() < 0.25:
        seconds += 30.0
    if state == "cold":
        seconds += rng.lognormal(np.log(45.0), 0.6)
    return round(seconds)
