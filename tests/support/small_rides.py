"""Small rides, and folders of them, for tests of reading."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path


def gpx(
    first: str = "2024-05-14T07:00:30", file_time: str = "", n: int = 30, creator: str = "maker", lat: float = 51.2
) -> str:
    """Return a short ride with one fix a second from `first`."""
    start = np.datetime64(first)
    meta = f"<metadata><time>{file_time}Z</time></metadata>" if file_time else ""
    points = "".join(
        f'<trkpt lat="{lat}" lon="{-3.6 + i * 7e-5:.6f}"><time>{start + np.timedelta64(i, "s")}Z</time></trkpt>'
        for i in range(n)
    )
    return f'<gpx version="1.1" creator="{creator}">{meta}<trk><trkseg>{points}</trkseg></trk></gpx>'


def write(folder: Path, **files: str) -> None:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def zipped(**members: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return buffer.getvalue()
