"""Text of a table as people write it: rows with the line each begins on."""

import csv
from collections.abc import Callable, Iterable, Iterator
from io import StringIO

from mowalert.errors import InputError
from mowalert.service.reading.sheet import as_told

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
    for begins, cells in numbered(StringIO(text, newline=""), max(SEPARATORS, key=first.count), _unpaired):
        if any(cell.strip() for cell in cells):
            yield begins, [as_told(cell) for cell in cells]


def _unpaired(line: int, error: csv.Error) -> InputError:
    return InputError(f"line {line}: a quote is not closed, or follows no separator")


def numbered(
    lines: Iterable[str], separator: str, wrong: Callable[[int, csv.Error], InputError]
) -> Iterator[tuple[int, list[str]]]:
    """Read rows of cells with the line each begins on.

    Parameters
    ----------
    lines : Iterable[str]
        Lines of a table.
    separator : str
        What stands between cells.
    wrong : Callable[[int, csv.Error], InputError]
        Says what is wrong with a row that cannot be read, and on which line it begins.

    Yields
    ------
    tuple[int, list[str]]
        Line and cells.

    Raises
    ------
    InputError
        What ``wrong`` says.
    """
    reader = csv.reader(lines, strict=True, delimiter=separator)
    while True:
        begins = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise wrong(begins, error) from error
        yield begins, cells
