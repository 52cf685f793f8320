"""What was worked out before and still holds is not worked out again: files, routes, and what is made of them."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, TypeVar

from gpsq import digests
from gpsq.reading.archives import MOST_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from gpsq.measures.route import Member
    from gpsq.model import Flag, Route, Trace, Unreadable
    from gpsq.pipeline.cache import Cache
    from gpsq.reading.folder import Readings
    from gpsq.rides.opposite import Tail
    from gpsq.settings import Settings

Answer = TypeVar("Answer")


def remembered(
    store: Cache | None, key: Callable[[], str], work: Callable[[], Answer], given: Sequence[Any] = ()
) -> Answer:
    """Return the answer kept under a key, or else that of `work`, which is then kept.

    What is `given` stands perhaps in the answer and is at hand whenever it is asked for, so it is not kept with it.
    """
    if store is None:
        return work()
    name = key()
    answer: Answer | None = store.get(name, given)
    if answer is None:
        answer = work()
        store.put(name, answer, given)
    return answer


def remembered_each(
    store: Cache | None,
    key: Callable[..., str],
    work: Callable[..., Answer],
    jobs: Sequence[tuple[Any, ...]],
    each: Callable[..., Iterable[Answer]] = map,
    *,
    may_change: bool = False,
) -> Iterator[Answer]:
    """Yield the answers of `work` to many jobs, in order: those that are kept, and the others from one call of `each`.

    Parameters
    ----------
    key : gives a job's key from its arguments; "" for one that is not to be kept.
    may_change : a job may change while it is done, as a file that is read: it is kept only if its key is still the same.
    """
    keys = [key(*job) for job in jobs] if store else [""] * len(jobs)
    known = {k: store.get(name) for k, name in enumerate(keys) if name} if store else {}
    missing = [job for k, job in enumerate(jobs) if known.get(k) is None]
    asked = iter(each(work, *zip(*missing, strict=True)) if missing else ())
    for k, (name, job) in enumerate(zip(keys, jobs, strict=True)):
        answer = known.pop(k, None)
        if answer is None:
            answer = next(asked)
            if store and name and not (may_change and key(*job) != name):
                store.put(name, answer)
        yield answer


# --- what each answer depends on ----------------------------------------------------------------------------------


def each_file(
    store: Cache | None,
    each: Callable[..., Iterable[list[Trace | Unreadable]]],
    read_file: Callable[..., list[Trace | Unreadable]],
    *arguments: Sequence[Any],
) -> Iterator[list[Trace | Unreadable]]:
    """Read files as `each` would, but those alone that are not kept: the `each` of `gpsq.reading.read_folder`."""
    return remembered_each(store, _file_key, read_file, list(zip(*arguments, strict=True)), each, may_change=True)


def _file_key(path: Path, *how: Any) -> str:
    try:  # what is too large to be read is not worth knowing by its content
        if path.stat().st_size > MOST_BYTES:
            return ""
        return digests.digest("file", digests.code(), digests.file_sha256(path), how)
    except OSError:
        return ""


def route_key(
    route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings, tails: Sequence[Tail]
) -> str:
    """Return the key of a route. Numbers of traces move when recordings are added before them, and change nothing."""
    own = {m.trace.key for m in members}
    flags = [f for f in decisions if (f.sha256, f.track) in own]
    traces = [(m.ride, m.duplicate_of, digests.lasting(m.trace)) for m in members]
    about = (route.name, route.plane, list(route.xy_m), traces, flags, settings, tails)
    return digests.digest("route", digests.code(), *about)


def arranged_key(readings: Readings, *, cut: bool) -> str:
    """Return the key of a campaign's traces in order, which no decision of a person changes."""
    return digests.digest("arranged", digests.code(), readings.traces_digest, readings.campaign.settings, cut)


def analysis_key(readings: Readings, *, cut_passes: bool) -> str:
    """Return the key of a campaign's analysis: all that was read, wherever its folder lies."""
    rest = dataclasses.replace(readings, folder="", traces=(), others=())
    return digests.digest("analysis", digests.code(), readings.traces_digest, rest, cut_passes)
