"""Answers that are no JSON: a media type, a tag of the content, and 304 where nothing changed."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from io import BytesIO
from tempfile import TemporaryFile
from typing import IO, Any, Final

from django.http import FileResponse, HttpResponseBase, HttpResponseNotModified
from django.utils.http import parse_etags
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

_IN_MEMORY: Final = 1_000_000
"""Bytes of a file from which on it lies on the disk while it is sent."""


class FileRenderer(BaseRenderer):
    """Names the media type of a view that answers with a file, for ``Accept`` and the document."""

    charset = "utf-8"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """The content as it is: such a view makes it itself."""
        return data


@dataclass(frozen=True, slots=True)
class MadeFile:
    """A file that was made to be sent, standing at its beginning, with size and SHA-256."""

    content: IO[bytes]
    n_bytes: int
    sha256: str


def made_file(pieces: Iterable[bytes]) -> MadeFile:
    """A file of these pieces, whole before anything of it is sent.

    A fault while it is made is then an error like any other, never half a file; and its tag is
    that of its bytes, so that equal files have equal tags whoever asks and whichever process
    answers.
    """
    content: IO[bytes] = BytesIO()
    digest = hashlib.sha256()
    try:
        for piece in pieces:
            if content.tell() <= _IN_MEMORY < content.tell() + len(piece):
                content = _on_disk(content)
            content.write(piece)
            digest.update(piece)
    except BaseException:
        content.close()
        raise
    n_bytes = content.tell()
    content.seek(0)
    return MadeFile(content=content, n_bytes=n_bytes, sha256=digest.hexdigest())


def _on_disk(content: IO[bytes]) -> IO[bytes]:
    """What was written so far, in a file without a name that goes when it is closed."""
    larger: IO[bytes] = TemporaryFile()  # noqa: SIM115 - closed by the answer
    content.seek(0)
    shutil.copyfileobj(content, larger)
    content.close()
    return larger


def file_response(
    request: Request, file: MadeFile, *, media_type: str, filename: str = ""
) -> HttpResponseBase:
    """The file, or 304 if the request names its tag (RFC 9110, section 13.1.2)."""
    tag = f'"{file.sha256}"'
    known = {
        one.removeprefix("W/") for one in parse_etags(request.headers.get("If-None-Match", ""))
    }
    if known & {"*", tag}:
        file.content.close()
        return HttpResponseNotModified(headers={"ETag": tag})
    return FileResponse(
        file.content,
        filename=filename,
        content_type=f"{media_type}; charset=utf-8",
        headers={"ETag": tag, "Content-Length": str(file.n_bytes)},
    )
