"""Bodies of many clutches, by their media type."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO, Any, ClassVar, Final

from django.utils.http import parse_header_parameters
from rest_framework.parsers import BaseParser

from registry.api.parsers import coding_checked
from registry.clutches.bulk.uploads import JsonLinesUpload, TableUpload, Upload, taken_in
from registry.errors import UnreadableCharactersError

_UTF_8: Final = frozenset({"utf-8", "utf8", "us-ascii"})


class UploadParser(BaseParser):
    """Takes a body in; nothing in it is read before the upload is asked for its lines."""

    upload: ClassVar[type[Upload]]

    def parse(  # type: ignore[override] # REST framework hands on whatever is given
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Upload:
        """The upload.

        Raises
        ------
        IncompleteBodyError
            The body ended before its stated length.
        UnreadableCharactersError
            The header says that the body is in another encoding than UTF-8.
        """
        coding_checked(media_type, parser_context)
        _name, parameters = parse_header_parameters(media_type or "")
        charset = parameters.get("charset", "utf-8")
        if charset.casefold() not in _UTF_8:
            raise UnreadableCharactersError(
                f"The body was sent as {charset}, expected UTF-8. Save the table as 'CSV UTF-8'."
            )
        stated = (parser_context or {})["request"].META.get("CONTENT_LENGTH") or ""
        return self.upload(taken_in(stream, int(stated) if stated.isdigit() else None))


class JsonLinesParser(UploadParser):
    """JSON lines."""

    media_type = "application/jsonl"
    upload = JsonLinesUpload


class NdjsonParser(JsonLinesParser):
    """JSON lines under their other name."""

    media_type = "application/x-ndjson"


class CsvParser(UploadParser):
    """A table."""

    media_type = "text/csv"
    upload = TableUpload
