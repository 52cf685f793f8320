"""Findings in one sentence with its number: the titles of the pictures. They say what was found, and no more."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.wording import short

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gpsq.model import FirstFix

#: A first fix within this is called soon.
QUICK_S = 30.0


def quick_count(fixes: Iterable[FirstFix]) -> tuple[int, int]:
    """Return on how many recordings the first fix came soon, and of how many that is known.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> quick_count([FirstFix("log", seconds=12.0), FirstFix("log", seconds=70.0), FirstFix("none")])
    (1, 2)
    """
    known = [f for f in fixes if np.isfinite(f.seconds) or f.censored or f.at_least_s > QUICK_S]
    return sum(f.seconds <= QUICK_S for f in known), len(known)


def quick(fixes: Sequence[FirstFix], what: str = "rides") -> str:
    """Return on how many recordings the first fix came soon, "" where no start is known.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> two = [FirstFix("log", seconds=12.0), FirstFix("log", seconds=70.0)]
    >>> quick(two).replace(wording.GAP, " "), quick(two[1:]).replace(wording.GAP, " ")
    ('fixed within 30 s on 1 of 2 rides', 'not fixed within 30 s on the only ride')
    >>> quick([FirstFix("none")])
    ''
    """
    count, of = quick_count(fixes)
    limit = wording.seconds(QUICK_S)
    if of == 1:
        return f"{'' if count else 'not '}fixed within {limit} on the only {what.removesuffix('s')}"
    return f"fixed within {limit} on {count or 'none'} of {of} {what}" if of else ""


def of_devices(fixes: Mapping[str, Sequence[FirstFix]]) -> str:
    """Return how often each of one or two devices, or the rarest and the most often, were fixed soon; "" if unknown.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> soon, late = FirstFix("log", seconds=12.0), FirstFix("log", seconds=70.0)
    >>> of_devices({"a": [soon, late], "b": [soon, soon]}).replace(wording.GAP, " ")
    'fixed within 30 s on 1 of 2 rides (a), 2 of 2 (b)'
    """
    counts = {name: quick_count(own) for name, own in fixes.items()}
    known = sorted((c / of, name) for name, (c, of) in counts.items() if of)
    if len(known) < 2:
        return quick(fixes[known[0][1]]) + (f" ({short(known[0][1], 18)})" if len(fixes) > 1 else "") if known else ""
    (_, low), (_, high) = known[0], known[-1]
    said = [f"{counts[n][0]} of {counts[n][1]}{' rides' if n == low else ''} ({short(n, 18)})" for n in (low, high)]
    return f"fixed within {wording.seconds(QUICK_S)} on " + (", " if len(known) == 2 else " to ").join(said)


def least_and_most(values: Mapping[str, float], say: object = wording.metres) -> str:
    """Return one value, or the least and the most of several, each with whose it is; "" where none is known.

    Examples
    --------
    >>> least_and_most({"a": 6.1}).replace(wording.GAP, " ")
    '6.1 m'
    >>> least_and_most({"a": 6.1, "b": 15.0, "c": 9.0}).replace(wording.GAP, " ")
    '6.1 m (a) to 15 m (b)'
    """
    known = sorted((value, name) for name, value in values.items() if np.isfinite(value))
    if not known or not callable(say):
        return ""
    if len(values) == 1:
        return str(say(known[0][0]))
    ends = known if len(known) == 1 else [known[0], known[-1]]
    return " to ".join(f"{say(value)} ({short(name, 18)})" for value, name in ends)


def capital(text: str) -> str:
    """Return a sentence with a capital first letter.

    Examples
    --------
    >>> capital("fixed soon")
    'Fixed soon'
    """
    return text[:1].upper() + text[1:]
