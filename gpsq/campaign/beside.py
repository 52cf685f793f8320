"""Which recordings run beside one another: at the same time, and not as copies of one recording.

Nobody asks for the pairs, of which thousands of recordings of one time have millions: only who runs beside anybody.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gpsq.model import FloatArray, IntArray, Trace

#: Recordings run at the same time when they share this much of the shorter.
TOGETHER = 0.5
#: Two recordings are copies of one where they lie nearer than this at all of so many instants.
COPY_M, INSTANTS = 0.5, 7


@dataclass(frozen=True, eq=False)
class _Course:
    """What recordings of the very same times and places share; `contents` are their files' hashes, with the track."""

    time_ms: IntArray
    lon_deg: FloatArray
    lat_deg: FloatArray
    span_ms: tuple[int, int]
    contents: set[tuple[str, int]]


class Beside:
    """The recordings of a campaign, asked who runs beside whom. Recordings without times or dates run beside nobody.

    Parameters
    ----------
    traces : sequence of Trace
        All of a campaign; recordings are named by their number in it.
    """

    def __init__(self, traces: Sequence[Trace]) -> None:
        alike: dict[tuple[bytes, ...], _Course] = {}
        self._course: dict[int, _Course] = {}
        for k, trace in enumerate(traces):
            if trace.timed and trace.date_known and trace.accepted > 1:
                time_ms = trace.time.astype("datetime64[ms]").astype(np.int64)
                arrays = (time_ms, trace.lon_deg, trace.lat_deg)
                course = alike.setdefault(
                    tuple(a.tobytes() for a in arrays), _Course(*arrays, (int(time_ms[0]), int(time_ms[-1])), set())
                )
                course.contents.add((trace.sha256, trace.track))
                self._course[k] = course

    def of(self, numbers: Iterable[int]) -> set[int]:
        """Return those of the recordings that run beside another of them."""
        members: dict[_Course, list[int]] = defaultdict(list)
        for k in numbers:
            if k in self._course:
                members[self._course[k]].append(k)
        alone, accompanied, found = _Running(), _Running(), set[_Course]()
        for course in sorted(members, key=lambda c: c.span_ms):
            met = [other for other in alone.at(course) if _run_beside(other, course)]
            found.update(met)
            alone.courses = [other for other in alone.courses if other not in found] if met else alone.courses
            accompanied.courses += met
            if met or any(_run_beside(other, course) for other in accompanied.at(course)):
                found.add(course)
            (accompanied if course in found else alone).courses.append(course)
        return {k for course in found for k in members[course]}

    def between(self, parts: Mapping[str, Iterable[int]]) -> bool:
        """Whether a recording of one part runs beside one of another part."""
        courses = {(self._course[k], part) for part, numbers in parts.items() for k in numbers if k in self._course}
        before: dict[str, _Running] = defaultdict(_Running)
        for course, part in sorted(courses, key=lambda entry: entry[0].span_ms):
            others = (other for name, running in before.items() if name != part for other in running.at(course))
            if any(_run_beside(other, course) for other in others):
                return True
            before[part].courses.append(course)
        return False


@dataclass(eq=False)
class _Running:
    """Recordings in order of their beginning; those that ended are dropped when they may be half of all."""

    courses: list[_Course] = field(default_factory=list)
    kept: int = 0

    def at(self, course: _Course) -> list[_Course]:
        """Return those that may still run when `course` begins."""
        if len(self.courses) > 2 * self.kept:
            self.courses = [other for other in self.courses if other.span_ms[1] > course.span_ms[0]]
            self.kept = len(self.courses)
        return self.courses


def _run_beside(a: _Course, b: _Course) -> bool:
    """Whether two run at the same time for half of the shorter, and are not of one device exported twice."""
    if a is b:
        return False
    (first_ms, last_ms), (begun_ms, ended_ms) = a.span_ms, b.span_ms
    shared_ms = min(last_ms, ended_ms) - max(first_ms, begun_ms)
    together = shared_ms >= TOGETHER * min(last_ms - first_ms, ended_ms - begun_ms) > 0
    return together and not (len(a.contents | b.contents) == 1 or _are_copies(a, b))


def _are_copies(a: _Course, b: _Course) -> bool:
    """Whether two lie at the same places at the same instants."""
    low, high = max(a.span_ms[0], b.span_ms[0]), min(a.span_ms[1], b.span_ms[1])
    at_ms = np.linspace(low, high, INSTANTS)
    return bool(norms(_places(a, at_ms) - _places(b, at_ms)).max() < COPY_M)


def _places(course: _Course, at_ms: FloatArray) -> FloatArray:
    lon, lat = (np.interp(at_ms, course.time_ms, degrees) for degrees in (course.lon_deg, course.lat_deg))
    return to_earth_centred(lon, lat)
