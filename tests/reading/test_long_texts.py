"""A long text costs what its length costs: nothing searches it again from each of its characters.

Each of these took minutes when a pattern could begin anywhere and read on to the end; a process that uses 30 s of
processor, which is many times what is needed, is ended by the system.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_CPU, (30, 30))
from gpsq.campaign import start_table, timestamps
from gpsq.reading.nmea import sentences
from gpsq.reading.table import columns
long = sys.argv[2] * (300_000 // len(sys.argv[2]))
print({
    "log": lambda: len(list(sentences.sentences("$GPGGA," + long, sentences.Tally()))),
    "heading": lambda: columns.meaning(long),
    "heading of a start log": lambda: start_table.column_of(long),
    "time": lambda: timestamps.parse_times([long, "2024-05-14T09:10:01Z"]).unreadable,
}[sys.argv[1]]())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="a limit of processor time is set by POSIX systems")
@pytest.mark.parametrize(
    ("what", "piece", "said"),
    [
        ("log", "1,", "1"), ("heading", "(", ""), ("heading", "lat ", ""), ("heading of a start log", "[", ""),
        ("time", "T", "1"), ("time", " 1", "1"), ("time", " ", "1"),
    ],
)  # fmt: skip
def test_a_long_text_is_read_once(what: str, piece: str, said: str) -> None:
    done = subprocess.run([sys.executable, "-c", LIMITED, what, piece], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, said), done.stderr
