"""Text of a table as people write it: rows with the line each begins on."""

import csv
from collections.abc import Iterator
from io import StringIO

from mowalert.errors import InputError
from mowalert.service.sheet import as_told

SEPARATORS = ",;\t"


def rows_of(text: str) -> Iterator[tuple[int, list[str]]]:
    """Read a table's rows.

    Parameters
    ----------
    text : str
        Values separated by commas, semicolons or tabs, as the first line does it; a byte-order mark
        and any kind of line end are harmless.

    Yields
    ------
    tuple[int, list[str]]
        The line a row begins on and its cells, without the apostrophes that keep a table's texts from
        being taken for formulas; rows without anything in them are left out.

    Raises
    ------
    InputError
        If quotes do not pair.
    """
    text = text.lstrip("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(StringIO(text, newline=""), strict=True, delimiter=max(SEPARATORS, key=first.count))
    while True:
        begins = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise InputError(f"line {begins}: a quote is not closed, or follows no separator") from error
        if any(cell.strip() for cell in cells):
            yield begins, [as_told(cell) for cell in cells]
