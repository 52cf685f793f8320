"""Figures in words, as a person would say them. Unknown is said, never shown as zero."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.exceptions import one_line

if TYPE_CHECKING:
    from gpsq.model import FirstFix
    from gpsq.results import Analysis
    from gpsq.summary_types import Interval

UNKNOWN = "unknown"
#: What a time to first fix is worked out from, by `gpsq.model.ESTIMATE_BASES`.
ESTIMATED_FROM = {"companion": "another device of the ride", "file name": "the file’s name", "road": "the road missed"}
#: A length under this is shown as 0.0 m; as a lower bound it says nothing.
NOTHING_M = 0.05
#: No-break space between figure and unit (SI brochure, 5.4.3).
GAP = "\N{NO-BREAK SPACE}"


#: Control characters, line separators, and those that turn the direction of all that follows (Unicode 16.0, 23.2 and UAX 9).
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def cell(text: str) -> str:
    r"""Return `text` fit for any table: control characters as spaces, bytes that are no Unicode spelled out.

    Examples
    --------
    >>> cell("a\tb\udc80")
    'a b\\udc80'
    """
    return _CONTROL.sub(" ", text).encode("utf-8", "backslashreplace").decode("utf-8")


def seconds(value: float) -> str:
    """Return a duration.

    Examples
    --------
    >>> [seconds(v).replace(GAP, " ") for v in (4.44, 58.2, 125.0, 3700.0, float("nan"))]
    ['4.4 s', '58 s', '2 min 5 s', '1 h 2 min', 'unknown']
    """
    if not math.isfinite(value):
        return UNKNOWN
    if value < 9.95:
        return f"{value:.1f}".removesuffix(".0") + f"{GAP}s"
    whole = round(value)
    if whole < 120:
        return f"{whole}{GAP}s"
    if whole < 3600:
        return f"{whole // 60}{GAP}min" + (f" {whole % 60}{GAP}s" if whole % 60 else "")
    hours, minutes = divmod(round(value / 60), 60)
    return f"{hours}{GAP}h {minutes}{GAP}min"


def metres(value: float) -> str:
    r"""Return a length.

    Examples
    --------
    >>> [metres(v).replace(GAP, " ") for v in (-0.04, 3.14, 289.6, 1520.0, 55_000.0, float("nan"))]
    ['0.0 m', '3.1 m', '290 m', '1.52 km', '55.0 km', 'unknown']
    >>> metres(-1.5) == "\N{MINUS SIGN}1.5\N{NO-BREAK SPACE}m"
    True
    """
    if not math.isfinite(value):
        return UNKNOWN
    size = abs(value)
    sign = "\N{MINUS SIGN}" if value < -0.05 else ""
    if size < 9.95:
        return f"{sign}{size:.1f}{GAP}m"
    if size < 999.5:
        return f"{sign}{size:.0f}{GAP}m"
    return f"{sign}{size / 1000:.2f}{GAP}km" if size < 9995 else f"{sign}{size / 1000:.1f}{GAP}km"


def longer(extra_m: float) -> str:
    """Return how much longer or shorter than another a way is, up to the word "than".

    Examples
    --------
    >>> [longer(v).replace(GAP, " ") for v in (12.3, -9.6, 0.04)]
    ['12 m longer than', '9.6 m shorter than', 'as long as']
    """
    size = metres(abs(extra_m))
    if size == metres(0.0):
        return "as long as"
    return f"{size} {'longer' if extra_m > 0 else 'shorter'} than"


def share(value: float) -> str:
    """Return a share in per cent; never rounded up to all or down to none.

    Examples
    --------
    >>> [share(v).replace(GAP, " ") for v in (0.0, 0.001, 0.873, 0.999, 1.0, float("nan"))]
    ['0 %', '0.1 %', '87 %', '99.9 %', '100 %', 'unknown']
    >>> [share(v).replace(GAP, " ") for v in (0.0004, 0.9997)]
    ['under 0.1 %', 'over 99.9 %']
    """
    if not math.isfinite(value):
        return UNKNOWN
    per_cent = 100.0 * value
    if 0 < per_cent < 0.05:
        return f"under 0.1{GAP}%"
    if 99.95 <= per_cent < 100:
        return f"over 99.9{GAP}%"
    digits = 1 if 0 < per_cent < 1 or 99 < per_cent < 100 else 0
    return f"{per_cent:.{digits}f}{GAP}%"


def between(figure: Interval, say: object = seconds) -> str:
    """Return the bounds of a figure, "" where it has none; that it is more than nothing bounds nothing.

    Examples
    --------
    >>> from gpsq.summary_types import Interval
    >>> inf = float("inf")
    >>> [between(Interval(12.0, low, high)).replace(GAP, " ") for low, high in ((9.0, 20.0), (9.0, inf), (0.0, inf))]
    ['9 s to 20 s', 'over 9 s', '']
    """
    if not (math.isfinite(figure.low) or math.isfinite(figure.high)):
        return ""
    if not callable(say):
        raise TypeError("say must turn a figure into text")
    if not math.isfinite(figure.high):
        return f"over {say(figure.low)}" if figure.low else ""
    return f"{say(figure.low)} to {say(figure.high)}" if math.isfinite(figure.low) else f"up to {say(figure.high)}"


def first_fix(fix: FirstFix) -> str:
    """Return what is known of a first fix, in one phrase.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> first_fix(FirstFix("none"))
    'start unknown'
    >>> first_fix(FirstFix("log", seconds=58.0, missed_m=290.0, missed_is_minimum=True)).replace(GAP, " ")
    'fixed after 58 s, at least 290 m missed'
    >>> worked_out = FirstFix("none", estimate_s=25.0, estimate_low_s=19.0, estimate_high_s=31.0, estimate_basis="road")
    >>> first_fix(worked_out).replace(GAP, " ")
    'fixed after about 25 s (19 s to 31 s)'
    """
    if fix.censored:
        return "never fixed" + (f" in {seconds(fix.at_least_s)}" if math.isfinite(fix.at_least_s) else "")
    if math.isfinite(fix.seconds):
        said = f"fixed after {seconds(fix.seconds)}"
    elif math.isfinite(fix.at_least_s):
        said = f"fixed after at least {seconds(fix.at_least_s)}"
    elif math.isfinite(fix.estimate_s):
        said = f"fixed after {about(fix)}"
    else:
        said = "start unknown"
    return said + (f", {missed(fix)} missed" if says_missed(fix) else "")


def about(fix: FirstFix) -> str:
    """Return a time that is worked out, with its bounds, never without.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> about(FirstFix("none", estimate_s=25.0, estimate_low_s=19.0, estimate_high_s=float("inf"))).replace(GAP, " ")
    'about 25 s (over 19 s)'
    """
    low, high = seconds(fix.estimate_low_s), seconds(fix.estimate_high_s)
    return f"about {seconds(fix.estimate_s)} ({f'{low} to {high}' if math.isfinite(fix.estimate_high_s) else f'over {low}'})"


def start_known(fix: FirstFix) -> str:
    """Return how the start of a recording is known, or what its time to first fix is worked out from.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> start_known(FirstFix("none", estimate_s=25.0, estimate_basis="road"))
    'worked out from the road missed; start pressed is not recorded'
    >>> start_known(FirstFix("log", seconds=25.0))
    'start from the start log'
    """
    if math.isfinite(fix.estimate_s):
        return f"worked out from {ESTIMATED_FROM[fix.estimate_basis]}; start pressed is not recorded"
    return start_basis(fix.basis)


def says_missed(fix: FirstFix) -> bool:
    """Return whether the distance missed says anything: it is known, and no lower bound of nothing."""
    return fix.missed_m >= (NOTHING_M if fix.missed_is_minimum else 0.0)


def missed(fix: FirstFix) -> str:
    """Return the distance missed, with "at least" where it is a lower bound; at least nothing is unknown.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> missed(FirstFix("none", missed_m=0.0, missed_is_minimum=True))
    'unknown'
    """
    if not says_missed(fix):
        return UNKNOWN
    least = "at least " if fix.missed_is_minimum else ""
    return least + metres(fix.missed_m)


def _name_of(folder: str) -> str:
    return Path(folder.replace("\\", "/")).absolute().name


def missed_between(fix: FirstFix) -> str:
    """Return the bounds of the distance missed, "" where it has none or they say nothing.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> missed_between(FirstFix("none", missed_m=110.0, missed_low_m=90.0, missed_high_m=122.0)).replace(GAP, " ")
    '90 m to 122 m'
    """
    if not (math.isfinite(fix.missed_low_m) and math.isfinite(fix.missed_high_m)):
        return ""
    return f"{metres(fix.missed_low_m)} to {metres(fix.missed_high_m)}"


def stopped_early(early_m: float) -> str:
    """Return how far before the others of its way a recording stopped, "" where it did not.

    Examples
    --------
    >>> stopped_early(2040.0).replace(GAP, " "), stopped_early(float("nan"))
    ('stopped 2.04 km before the others of its way end', '')
    """
    return f"stopped {metres(early_m)} before the others of its way end" if math.isfinite(early_m) else ""


_MINUS = re.compile(r"(?<![\w.])-(?=\d)")
_BARE_PER_CENT = re.compile(r"(?<=\d) ?%")
_UNIT = re.compile(r"(?<=\d) (?=(?:s|m|km|min)\b)")


def typeset(text: str) -> str:
    """Return a sentence for the page: minus signs, and no line break between a figure and its unit.

    Examples
    --------
    >>> typeset("R-1 is -4.1 m (95 % interval -18.5 to 3.7 m), +2.8% longer").replace(GAP, "_")
    'R-1 is −4.1_m (95_% interval −18.5 to 3.7_m), +2.8_% longer'
    """
    text = _BARE_PER_CENT.sub(f"{GAP}%", _MINUS.sub("\N{MINUS SIGN}", cell(text)))
    return _UNIT.sub(GAP, text)


def title(analysis: Analysis) -> str:
    """Return the campaign's title, else the name of its folder."""
    named = analysis.title or (_name_of(analysis.folder) if analysis.folder else "")
    return cell(named) if named.strip(". ") else "Repeated rides"


def way(analysis: Analysis, route: str) -> str:
    """Return a route's letter with what it is called, such as "A (out, mornings, north-east)"."""
    called = analysis.ways.get(route)
    return cell(f"{route} ({called.name})" if called and called.name else route)


def way_short(analysis: Analysis, route: str) -> str:
    """Return a route's letter with what it is called where there is little room, such as "A (out)"."""
    called = analysis.ways.get(route)
    return cell(f"{route} ({called.short})" if called and called.short else route)


def on_way(analysis: Analysis, route: str) -> str:
    """Return which way, within a sentence: "on the way out", "on the way back", "on way A", or "on" and the person's name."""
    called = analysis.ways.get(route)
    if called is None or not called.short:
        return f"on way {cell(route)}"
    return f"on the way {called.short}" if called.short in ("out", "back") else f"on {cell(called.short)}"


def short(text: str, length: int = 28) -> str:
    """Return `text` on one line, cut in its middle when longer than `length` signs.

    Examples
    --------
    >>> short("a" * 20 + "b" * 20, 11)
    'aaaaa…bbbbb'
    """
    return one_line(text, length)


def start_basis(basis: str) -> str:
    """Return how the start of a recording is known, in words.

    Examples
    --------
    >>> start_basis("log"), start_basis("none")
    ('start from the start log', 'start unknown')
    """
    known = {
        "log": "start from the start log",
        "points before fix": "start from records before the fix",
        "file time": "start from the file’s own time",
    }
    return known.get(basis, "start unknown" if basis == "none" else f"start: {basis}")
