"""A drop as it comes in: its token first, then its files, straight to the disk; memory stays as it is."""

from __future__ import annotations

import io
import tempfile
from typing import TYPE_CHECKING, BinaryIO, cast

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser

from gpsq.web.guard import same_token

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.requests import Request

OLDER = "The page is older than the server: load it again, then repeat this."


class Slice(UploadFile):
    """One file of a drop: a part of the one file on the disk that they all lie in, one after the other."""

    def __init__(self, disk: BinaryIO, filename: str) -> None:
        super().__init__(disk, size=0, filename=filename)
        self.begins = 0

    async def write(self, data: bytes) -> None:
        """Put more bytes behind those that have come."""
        if not self.size:  # only now have the files before it ended
            self.begins = self.file.tell()
        self.size = (self.size or 0) + len(data)
        await run_in_threadpool(self.file.write, data)

    async def seek(self, offset: int) -> None:
        """Stay: the next file goes on where this one ends."""

    def content(self) -> BinaryIO:
        """Return the bytes of this file alone, to be read once."""
        self.file.seek(self.begins)
        return io.BufferedReader(_Limited(self.file, self.size or 0))


class _Limited(io.RawIOBase):
    """The next so many bytes of a file."""

    def __init__(self, file: BinaryIO, left: int) -> None:
        self.file, self.left = file, left

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]  # the stubs allow any buffer
        data = self.file.read(min(len(buffer), self.left))
        buffer[: len(data)] = data
        self.left -= len(data)
        return len(data)


class Incoming(MultiPartParser):
    """A multipart body (RFC 7578), none of whose files is taken in before the page's token has come.

    Parameters
    ----------
    request : whose body is read.
    disk : where the files go, one after the other.
    token : of the page: in a header, or in a field before the first file.
    most : so many files and fields at most.
    """

    def __init__(self, request: Request, disk: BinaryIO, token: str, most: int) -> None:
        super().__init__(request.headers, request.stream(), max_files=most, max_fields=most)
        self.disk, self.token = disk, token
        self.is_ours = same_token(request.headers.get("x-gpsq-token"), token)

    async def read(self) -> FormData:
        """Read all of it and return its fields and files.

        Raises
        ------
        HTTPException
            When the token is missing or wrong, or the body is no form.
        """
        try:
            form = await self.parse()
        except (MultiPartException, KeyError) as error:
            raise HTTPException(400, str(error)) from error
        self._check()
        return form

    def on_headers_finished(self) -> None:
        """Begin a part; that of a file only if the token has come."""
        super().on_headers_finished()
        if (file := self._current_part.file) is not None:
            file.file.close()  # the parser's own, which nothing is put into
            self._check()
            self._current_part.file = Slice(self.disk, str(file.filename))

    def _check(self) -> None:
        said = next((value for name, value in self.items if name == "token"), None)
        self.is_ours = self.is_ours or same_token(said, self.token)
        if not self.is_ours:
            raise HTTPException(403, OLDER)


def disk_in(folder: Path) -> BinaryIO:
    """Return a file in a campaign's folder that has no name, so that nothing is left of it whatever happens."""
    return cast("BinaryIO", tempfile.TemporaryFile(dir=folder))
