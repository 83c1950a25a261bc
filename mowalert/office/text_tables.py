"""Tables as text: separators, encodings and quotes as offices' programs write them, read bit by bit."""

import csv
from codecs import getincrementaldecoder
from collections import Counter
from collections.abc import Iterator
from io import StringIO
from itertools import islice
from pathlib import Path
from re import compile as pattern
from re import search
from typing import TextIO

from mowalert.errors import InputError
from mowalert.office.cells import Doubt, Measure, RawRow, tidied, too_long
from mowalert.service.reading.sheet import as_told
from mowalert.service.reading.tables import numbered

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
CHUNK = 1 << 16
SAMPLE_ROWS = 60
UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
BOTH_ENCODINGS = rb"[\xc2\xc3][\x80-\xbf]"
"""Letters beyond ASCII as UTF-8 writes them: in a text that is no UTF-8 they tell of a mixture."""
_SAYS_ITS_MARK = pattern(r"sep=(.)\s*")


def text_rows(path: Path) -> tuple[str, Iterator[RawRow]]:
    """Read a text file's rows.

    Parameters
    ----------
    path : Path
        The file, of any size: it is read as the rows are asked for.

    Returns
    -------
    tuple[str, Iterator[RawRow]]
        How it is read, in words, and its rows, each with the line it begins on.

    Raises
    ------
    InputError
        If it is no text, or mixes encodings.
    """
    encoding = _encoding(path)
    with path.open(encoding=encoding, newline="") as file:
        mark = _separator(file.read(CHUNK))
    name = "Windows-1252" if encoding == "cp1252" else encoding.upper().removesuffix("-SIG")
    how = f"read as values separated by {SEPARATORS.get(mark, repr(mark))}, {name} text"
    return how, _rows(path, encoding, mark)


def _encoding(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(1000)
        if start[:2] in UTF16_MARKS:
            encoding = "utf-16"
        elif b"\0" in start:
            raise InputError(f"{path}: is no text and no workbook")
        else:
            encoding = "utf-8-sig"
        file.seek(0)
        if _decodes(file, encoding):
            return encoding
        file.seek(0)
        if encoding == "utf-16" or not _decodes(file, "cp1252"):
            raise InputError(f"{path}: cannot be read as text; save it as CSV UTF-8")
        file.seek(0)
        for number, line in enumerate(file, 1):
            if search(BOTH_ENCODINGS, line):
                raise InputError(
                    f"{path}, line {number}: mixes UTF-8 and Windows letters; save it as CSV UTF-8"
                )
    return "cp1252"


def _decodes(file: object, encoding: str) -> bool:
    decoder = getincrementaldecoder(encoding)()
    try:
        while chunk := file.read(CHUNK):  # type: ignore[attr-defined]
            decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeError:
        return False
    return True


def _separator(sample: str) -> str:
    """The mark that makes the most of the sample a table: rows of one width, and wide ones."""
    if said := _SAYS_ITS_MARK.match(sample):
        return said[1]
    return max(SEPARATORS, key=lambda mark: _worth(sample, mark))


def _worth(sample: str, mark: str) -> int:
    try:
        rows = list(islice(csv.reader(StringIO(sample, newline=""), delimiter=mark), SAMPLE_ROWS))
    except csv.Error:
        return 0
    widths = Counter(len(row) for row in rows if any(row))
    return max(((width - 1) * count for width, count in widths.items()), default=0)


def _rows(path: Path, encoding: str, mark: str) -> Iterator[RawRow]:
    def wrong(line: int, error: csv.Error) -> InputError:
        return InputError(f"{path}, line {line}: is no table: {error}")

    measure = Measure()
    with path.open(encoding=encoding, newline="") as file:
        for begins, cells in numbered(_without_nul(file), mark, wrong):
            if begins == 1 and _SAYS_ITS_MARK.fullmatch(mark.join(cells)):
                continue
            measure.add(begins, len(cells))
            yield _row(begins, cells)


def _without_nul(file: TextIO) -> Iterator[str]:
    return (line.replace("\0", "") if "\0" in line else line for line in file)


def _row(line: int, cells: list[str]) -> RawRow:
    doubts: dict[int, Doubt] = {}
    for place, text in enumerate(cells):
        if doubt := too_long(text):
            doubts[place] = doubt
            cells[place] = ""
        elif text:
            cells[place] = as_told(tidied(text))
    return RawRow(line, cells, doubts)
