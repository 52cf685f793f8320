"""Results that stand already are not written again: the same analysis, and every file as it was left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gpsq import digests

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from gpsq.pipeline.cache import Cache


def write(store: Cache | None, what: Any, out: Path, writing: Callable[[], Sequence[Path]]) -> None:
    """Write results of `what` into a folder by `writing`, which returns the files, unless they stand there already.

    Parameters
    ----------
    store : where is kept what stood in the folder at the end; None writes always.
    what : all that the results depend on.
    """
    if store is None:
        writing()
        return
    key = digests.digest("results", digests.code(), what, out.absolute())
    left = store.get(key)
    if left is None or left != _standing(out, left):
        files = writing()
        store.put(key, _standing(out, [file.relative_to(out).as_posix() for file in files]))


def _standing(out: Path, names: Any) -> dict[str, str]:
    """Return a digest of each file of those names, "" where it cannot be read."""
    found = {}
    for name in names:
        try:
            found[name] = digests.file_sha256(out / name)
        except OSError:
            found[name] = ""
    return found
