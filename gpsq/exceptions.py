"""Every way gpsq can refuse.

* GpsqError
  x InputError          a file, a table or a setting that cannot be used
    + UnreadableFile    one recording that gives no points; the others go on
    + CampaignError     rides.csv, campaign.toml or flags.csv says something impossible
    + NothingToAnalyse  no recording at all
  x OutputError         a result that cannot be written
  x GeometryError       an array of the wrong shape, or a line too short to measure
"""

from __future__ import annotations

#: So many characters of what was found are enough to know it again.
MOST_FOUND = 400


class GpsqError(Exception):
    """Base of all errors that gpsq raises on purpose; its text is one plain line for a person, after any `lines`."""

    lines: tuple[str, ...] = ()


class InputError(GpsqError):
    """A file, a table or a setting cannot be used.

    Parameters
    ----------
    file : str
        The file as the person knows it.
    found : str
        What stands there.
    expected : str
        What was needed.

    Examples
    --------
    >>> print(InputError("monday.gpx", "an empty file", "a GPX document"))
    monday.gpx: found an empty file; expected a GPX document
    """

    def __init__(self, file: str, found: str, expected: str) -> None:
        super().__init__(f"{one_line(file)}: found {one_line(found, MOST_FOUND)}; expected {one_line(expected)}")
        self.file = file
        self.found = found
        self.expected = expected


class UnreadableFile(InputError):
    """One recording gives no points; `reason` is a short code such as ``html_page``."""

    def __init__(self, file: str, found: str, expected: str, reason: str) -> None:
        super().__init__(file, found, expected)
        self.reason = reason

    def __reduce__(self) -> tuple[type[UnreadableFile], tuple[str, str, str, str]]:
        """Survive the way back from a worker process."""
        return UnreadableFile, (self.file, self.found, self.expected, self.reason)


class CampaignError(InputError):
    """``rides.csv``, ``campaign.toml`` or ``flags.csv`` says something that cannot be followed."""


class NothingToAnalyse(InputError):
    """The folder holds no recording that could be read; `lines` say of each file why not."""

    def __init__(self, file: str, found: str, expected: str, lines: tuple[str, ...] = ()) -> None:
        super().__init__(file, found, expected)
        self.lines = lines


class OutputError(GpsqError):
    """A result cannot be written."""


class GeometryError(GpsqError, ValueError):
    """An array has the wrong shape, or a line is too short to measure."""


def one_line(text: str, most: int | None = None) -> str:
    r"""Return `text` on one line, without control characters, cut in its middle where it has over `most` signs.

    Examples
    --------
    >>> one_line("Mon\nday\x07")
    'Mon day'
    >>> one_line("a" * 20 + "b" * 20, 11)
    'aaaaa…bbbbb'
    """
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if most is None or len(line) <= most:
        return line
    tail = (most - 1) // 2
    return f"{line[: most - 1 - tail]}…{line[len(line) - tail :]}"
