"""Numbers out of large text files, block by block, without a loop over lines."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from loopwright.surface.parts import LongArray, input_error
from loopwright.types import BoolArray, ByteArray, FloatArray

BLOCK_BYTES = 1 << 24
MAX_LINE_BYTES = 1 << 27

_IS_BLANK = np.zeros(256, np.bool_)
_IS_BLANK[[9, 10, 11, 12, 13, 32]] = True


@dataclass(frozen=True)
class LineBlock:
    """Some whole lines of a text file, cut into words.

    Attributes
    ----------
    name : the file's name, for messages.
    data : (b,) uint8, the text; its last byte is a line end.
    first_line : number of the block's first line, from 1.
    end_offset : bytes of the file up to the end of this block.
    line_ends : (k,) position of each line's end.
    word_starts, word_ends : (w,) positions of each word and of the byte behind it.
    first_word : (k,) index of each line's first word.
    word_counts : (k,) words in each line.
    """

    name: str
    data: ByteArray
    first_line: int
    end_offset: int
    line_ends: LongArray
    word_starts: LongArray
    word_ends: LongArray
    first_word: LongArray
    word_counts: LongArray

    def starts_with(self, keyword: str) -> BoolArray:
        """Return (k,) bool: the line's first word is ``keyword``, in small or capital letters."""
        found = self.word_counts > 0
        if not found.any():
            return found
        first = np.minimum(self.first_word, len(self.word_starts) - 1)
        starts, lengths = self.word_starts[first], (self.word_ends - self.word_starts)[first]
        found &= lengths == len(keyword)
        for place, letter in enumerate(keyword.encode()):
            byte = self.data[np.minimum(starts + place, len(self.data) - 1)]
            found &= (byte == letter) | (byte == ord(chr(letter).upper()))
        return found

    def place(self, line: int) -> str:
        """Return the words that name a line of this block to a person."""
        return f"line {self.first_line + line}"

    def line_numbers(self, lines: BoolArray, skip: int) -> tuple[FloatArray, LongArray]:
        """Read the numbers of the chosen lines.

        Parameters
        ----------
        lines : (k,) bool.
        skip : 0 or 1, words at the start of each line that are no numbers.

        Returns
        -------
        All numbers in one row, and how many there are in each chosen line.

        Raises
        ------
        InputError
            If a word is not a number.
        """
        counts = self.word_counts[lines] - skip
        text = self.data
        if skip:
            text = text.copy()
            words = self.first_word[lines]
            for place in range(int((self.word_ends[words] - self.word_starts[words]).max(initial=0))):
                inside = self.word_starts[words] + place
                text[inside[inside < self.word_ends[words]]] = 32
        if not lines.all():
            text = text[np.repeat(lines, np.diff(self.line_ends, prepend=-1))]
        numbers = _numbers_of_text(text.tobytes())
        if numbers is None or len(numbers) != int(counts.sum()):
            raise self._bad_number(lines, skip)
        return numbers, counts

    def _bad_number(self, lines: BoolArray, skip: int) -> Exception:
        for line in np.flatnonzero(lines):
            first = self.first_word[line]
            for word in range(first + skip, first + self.word_counts[line]):
                text = self.data[self.word_starts[word] : self.word_ends[word]].tobytes()
                if _numbers_of_text(text) is None:
                    shown = text[:24].decode("utf-8", "replace")
                    return input_error(self.name, self.place(int(line)), f"{shown!r} is not a number")
        return input_error(self.name, self.place(0), "a line near it holds something that is not a number")


def read_blocks(stream: BinaryIO, name: str, *, line: int = 1, comment: bytes = b"") -> Iterator[LineBlock]:
    """Yield the rest of a file in blocks of whole lines.

    Text behind ``comment`` is blanked, a line that ends in a backslash is joined with the next.
    """
    carry, offset = b"", stream.tell()
    while True:
        fresh = stream.read(BLOCK_BYTES)
        text = carry + fresh
        if not text:
            return
        if fresh:
            if b"\n" not in text and b"\r" in text[:-1]:
                text = text.replace(b"\r", b"\n")
            cut = text.rfind(b"\n") + 1
            while cut and text[max(cut - 3, 0) : cut].rstrip(b"\r\n").endswith(b"\\"):
                cut = text.rfind(b"\n", 0, cut - 1) + 1
            text, carry = text[:cut], text[cut:]
            if len(carry) > MAX_LINE_BYTES:
                raise input_error(name, f"line {line}", "the line has no end, this is no text file")
        else:
            carry = b""
            text = text.replace(b"\r", b"\n") if b"\n" not in text else text
            text += b"" if text.endswith(b"\n") else b"\n"
        offset += len(text)
        if text:
            yield _cut_words(_blank_out(text, comment), name, line, offset)
            line += text.count(b"\n")


def _blank_out(text: bytes, comment: bytes) -> bytes:
    """Blank comments and joints of lines without moving a byte."""
    if comment and comment in text:
        text = re.sub(re.escape(comment) + rb"[^\n]*", lambda found: b" " * len(found.group()), text)
    if b"\\" in text:
        text = re.sub(rb"\\\r?\n", lambda found: b" " * len(found.group()), text)
    return text


def _cut_words(text: bytes, name: str, line: int, end_offset: int) -> LineBlock:
    data = np.frombuffer(text if text.endswith(b"\n") else text[:-1] + b"\n", np.uint8)
    blank = _IS_BLANK[data]
    before = np.concatenate([[True], blank[:-1]])
    word_starts = np.flatnonzero(before & ~blank)
    word_ends = np.flatnonzero(blank & ~before)
    line_ends = np.flatnonzero(data == 10)
    words_so_far = np.searchsorted(word_starts, line_ends)
    first_word = np.concatenate([[0], words_so_far[:-1]])
    return LineBlock(
        name, data, line, end_offset, line_ends, word_starts, word_ends, first_word, words_so_far - first_word
    )


def _numbers_of_text(text: bytes) -> FloatArray | None:
    """Parse blank-separated decimal numbers; None if one of them is none."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)
            numbers: NDArray[np.float64] = np.fromstring(text.decode("latin-1"), dtype=np.float64, sep=" ")
    except (ValueError, DeprecationWarning):
        return None
    return numbers
