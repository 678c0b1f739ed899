"""Lines of an upload, read one after another: memory holds one of them, however long the file."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, Protocol, Self

from registry.clutches.choices import MAX_LINE_BYTES
from registry.errors import LineTooLongError, UnreadableCharactersError

_PIECE: Final = 64 * 1024
_BOM: Final = b"\xef\xbb\xbf"


class Lines(Protocol):
    """A binary file, as far as it is needed here."""

    def readline(self, size: int = -1, /) -> bytes:
        """The next line or the part of it that ``size`` bytes hold; empty at the end."""


@dataclass(frozen=True, slots=True)
class RawLine:
    """A line with its end, if it has one. Of a line that is too long only the beginning."""

    number: int
    content: bytes
    is_too_long: bool = False

    @property
    def is_blank(self) -> bool:
        """Whether there is nothing in it."""
        return not self.content.strip()

    def checked(self) -> bytes:
        """The content; raises `LineTooLongError` where only a part of it is known."""
        if self.is_too_long:
            raise too_long()
        return self.content

    def text(self) -> str:
        """The line as text.

        Raises
        ------
        LineTooLongError, UnreadableCharactersError
        """
        try:
            return self.checked().decode("utf-8")
        except UnicodeDecodeError as error:
            raise UnreadableCharactersError(
                f"Line {self.number} is not UTF-8: byte {error.start + 1} begins no character. "
                "Save the table as 'CSV UTF-8'.",
                byte=error.start + 1,
            ) from error


def too_long() -> LineTooLongError:
    """The refusal of a line that is longer than any clutch."""
    return LineTooLongError(
        f"The line has more than the {MAX_LINE_BYTES} bytes that are read. One clutch is expected "
        "in each line; a clutch as large as that can be sent to clutches/ by itself.",
        limit=MAX_LINE_BYTES,
    )


def raw_lines(file: Lines) -> Iterator[RawLine]:
    """Every line with its number, from 1. A byte order mark before the first one is dropped."""
    number = 0
    # The end of a line may take two bytes more.
    while content := file.readline(MAX_LINE_BYTES + 2):
        number += 1
        if number == 1:
            content = content.removeprefix(_BOM)
        is_too_long = len(content.rstrip(b"\r\n")) > MAX_LINE_BYTES
        if is_too_long and not content.endswith(b"\n"):
            _skip_rest(file)
        yield RawLine(number, content, is_too_long)


def _skip_rest(file: Lines) -> None:
    while rest := file.readline(_PIECE):
        if rest.endswith(b"\n"):
            return


class ReplayedLines(Iterator[RawLine]):
    """Lines of which the last ones can be put back, to be read once more."""

    def __init__(self, lines: Iterable[RawLine]) -> None:
        self._lines = iter(lines)
        self._waiting: deque[RawLine] = deque()

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> RawLine:
        return self._waiting.popleft() if self._waiting else next(self._lines)

    def put_back(self, lines: Iterable[RawLine]) -> None:
        """Give these again before all others, in this order."""
        self._waiting.extendleft(reversed(list(lines)))
