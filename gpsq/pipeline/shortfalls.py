"""Where campaigns fall short of a fair test, in lines for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.exceptions import InputError, NothingToAnalyse
from gpsq.pipeline.analysis import analyse
from gpsq.summaries.fair_test import shortfalls

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path


def shortfall_lines(folders: Sequence[Path], *, say: Callable[[str], None]) -> Iterator[str]:
    """Yield a heading and a line for each shortfall of each campaign; `say` is told why one cannot be analysed.

    A folder without recordings is passed over.
    """
    for folder in folders:
        try:
            found = shortfalls(analyse(folder))
        except NothingToAnalyse:
            continue
        except InputError as error:
            say(str(error))
            continue
        yield f"\n{folder}: where it falls short of a fair test (docs/protocol.md)"
        yield from (f"- {sentence}" for sentence in found or ["nowhere"])
