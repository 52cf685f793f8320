"""Compressed files and archives to the documents in them, in memory and within bounds: nothing is ever written out."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gpsq.exceptions import UnreadableFile

if TYPE_CHECKING:
    from collections.abc import Iterator

#: More than two million points of the usual length; larger files are no ride.
MOST_BYTES = 256 * 2**20
#: Text of recordings shrinks to a tenth or twentieth; a thousandth is an attack on memory (zip bomb).
MOST_RATIO = 200
#: Below this size a high ratio does no harm.
_SMALL_BYTES = 4 * 2**20
_MOST_MEMBERS = 5000
#: What the library raises on broken archives; NotImplementedError is its word for a compression it does not know.
_BROKEN_ZIP = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError, KeyError,
    struct.error,
)  # fmt: skip


@dataclass(frozen=True)
class Member:
    """A document: its name (that of the file, and of the member within an archive), its bytes, or why there are none.

    `cut` marks a document whose end is missing because its compressed stream is.
    """

    file: str
    data: bytes = b""
    cut: bool = False
    error: UnreadableFile | None = None


def is_gzip(data: bytes) -> bool:
    """Whether `data` begins like a gzip stream (RFC 1952)."""
    return data.startswith(b"\x1f\x8b")


def is_zip(data: bytes) -> bool:
    """Whether `data` begins like a zip archive (a local header, or the end record of an empty one)."""
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def documents(data: bytes, file: str) -> Iterator[Member]:
    """Yield the documents in `data`, judged by content: itself, what a gzip stream holds, or an archive's members.

    Examples
    --------
    >>> import gzip
    >>> [(m.file, m.data) for m in documents(gzip.compress(b"<gpx/>"), "ride.gpx")]
    [('ride.gpx', b'<gpx/>')]
    """
    if len(data) > MOST_BYTES:
        yield Member(file, error=_too_large(file, len(data)))
    elif is_zip(data):
        yield from _members(data, file)
    elif is_gzip(data):
        yield _gunzipped(data, file)
    else:
        yield Member(file, data)


def _too_large(file: str, size: int) -> UnreadableFile:
    return UnreadableFile(file, f"{size / 2**20:,.0f} MiB", f"at most {MOST_BYTES // 2**20} MiB", "too_large")


def _bomb(file: str) -> UnreadableFile:
    found = f"data that unpack to more than {MOST_RATIO} times their size or {MOST_BYTES // 2**20} MiB"
    return UnreadableFile(file, found, "a compressed recording", "too_large")


def _gunzipped(data: bytes, file: str) -> Member:
    bound = min(MOST_BYTES, max(_SMALL_BYTES, MOST_RATIO * len(data)))
    parts: list[bytes] = []
    size, rest, ended = 0, data, False
    while is_gzip(rest):
        stream = zlib.decompressobj(wbits=31)
        try:
            part = stream.decompress(rest, bound - size + 1)
        except zlib.error:
            return _broken(file, parts, "compressed_damaged", "a compressed file that is damaged")
        parts.append(part)
        size += len(part)
        if size > bound:
            return Member(file, error=_bomb(file))
        rest, ended = stream.unused_data, stream.eof
    if not ended:
        return _broken(file, parts, "compressed_cut_off", "a compressed file that is cut off")
    unpacked = b"".join(parts)
    if is_zip(unpacked) or is_gzip(unpacked):
        return Member(file, error=UnreadableFile(file, "an archive inside an archive", "a recording", "nested_archive"))
    return Member(file, unpacked)


def _broken(file: str, parts: list[bytes], reason: str, found: str) -> Member:
    """Hand on what could be unpacked; with nothing unpacked, refuse."""
    unpacked = b"".join(parts)
    if not unpacked:
        return Member(file, error=UnreadableFile(file, found, "a whole one", reason))
    return Member(file, unpacked, cut=True)


def _members(data: bytes, file: str) -> Iterator[Member]:
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except _BROKEN_ZIP:
        yield Member(
            file,
            error=UnreadableFile(
                file, "an archive that is damaged or cut off", "a whole zip archive", "archive_damaged"
            ),
        )
        return
    infos = [info for info in archive.infolist() if not info.is_dir()]
    if len(infos) > _MOST_MEMBERS:
        found = f"an archive of {len(infos)} files"
        yield Member(file, error=UnreadableFile(file, found, f"at most {_MOST_MEMBERS}", "too_large"))
        return
    room = MOST_BYTES
    for info in infos:
        label = f"{file}/{_inner_name(info.filename)}"
        member = _outside(label, info) if _climbs_out(info.filename) else _member(archive, info, label, room)
        room -= len(member.data)
        yield member


def _inner_name(name: str) -> str:
    """Return a member's name as a label below the archive: no root, no way up."""
    return "/".join(part for part in name.replace("\\", "/").split("/") if part not in {"", ".", ".."}) or "unnamed"


def _climbs_out(name: str) -> bool:
    r"""Whether a name leads above the archive's own folder, on the way or in the end.

    >>> [_climbs_out(name) for name in ("../x.gpx", "a/../../x.gpx", "..\\x.gpx", "a/../x.gpx", "..x.gpx", "/x.gpx")]
    [True, True, True, False, False, False]
    """
    depth = 0
    for part in name.replace("\\", "/").split("/"):
        depth += {"": 0, ".": 0, "..": -1}.get(part, 1)
        if depth < 0:
            return True
    return False


def _outside(label: str, info: zipfile.ZipInfo) -> Member:
    found = f"a member named {info.filename!r}, which leads out of the archive"
    return Member(label, error=UnreadableFile(label, found, "a name below it", "unsafe_name"))


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str, room: int) -> Member:
    bound = min(room, max(_SMALL_BYTES, MOST_RATIO * info.compress_size))
    try:
        with archive.open(info) as stream:
            data = stream.read(bound + 1)
    except _BROKEN_ZIP:
        found = "a protected member" if info.flag_bits & 1 else "a damaged member"
        return Member(file, error=UnreadableFile(file, found, "one that can be unpacked", "archive_damaged"))
    if len(data) > bound:
        return Member(file, error=_bomb(file))
    if is_zip(data):
        return Member(file, error=UnreadableFile(file, "an archive inside an archive", "a recording", "nested_archive"))
    return _gunzipped(data, file) if is_gzip(data) else Member(file, data)
