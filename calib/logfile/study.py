"""The CSV of a gauge study: one row a reading, with the headings part, operator and value.

Other words for them will do (person, reading); without an operator all readings are one person's. Columns
are separated by a comma, a semicolon or a tab; where it is not the comma, a comma in a number is its
decimal mark. Lines that start with # are passed over.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

from calib.errors import CalibError, LogError
from calib.logfile.rows import delimiter_of, records_of
from calib.setupform.lengths import Units, decimal_point, length_from_text

#: part, operator, mm, as typed
StudyRow = tuple[str, str, float, str]
HEADINGS = {
    "part": ("part", "piece", "sample"),
    "operator": ("operator", "person", "who", "hand", "name"),
    "value": ("value", "reading", "measurement", "mm"),
}
#: Stands for the operator where no column names one.
ALONE = "one person"


def load_study(path: str | os.PathLike[str], units: Units = "mm") -> list[StudyRow]:
    """Read a file of a study.

    Raises
    ------
    CalibError
        When it cannot be read; `LogError` with one line for every row that is wrong.
    """
    file = Path(path)
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise CalibError(f"{file}: there is no such file. Name a CSV with part, operator, value.") from None
    except UnicodeDecodeError:
        raise CalibError(f"{file}: this is not UTF-8 text. Save the file as UTF-8.") from None
    except OSError as error:
        raise CalibError(f"{file}: cannot be read ({error.strerror}). Name a CSV file.") from None
    return study_from_text(text, file.name, units)


def study_from_text(text: str, name: str = "study.csv", units: Units = "mm") -> list[StudyRow]:
    """Return (part, operator, mm, as typed) of each row.

    >>> study_from_text("part;operator;value\\na;ana;6,02\\n")
    [('a', 'ana', 6.02, '6,02')]
    """
    delimiter = delimiter_of(text)
    try:
        records = list(records_of(text, delimiter))
    except csv.Error as error:
        raise CalibError(f"{name}: it cannot be read as CSV: {error}.") from None
    if not records:
        raise CalibError(f"{name}: it is empty. Start with the line part,operator,value.")
    columns, problems = _columns(records[0][1], f"{name}:{records[0][0]}")
    if problems:
        raise LogError(problems)
    found = []
    for line, cells in records[1:]:
        try:
            found.append(_row(cells, columns, f"{name}:{line}", delimiter != ",", units))
        except CalibError as error:
            problems.append(str(error))
    if problems:
        raise LogError(problems)
    return found


def _columns(head: list[str], where: str) -> tuple[dict[str, int], list[str]]:
    places = {cell.strip().lower(): place for place, cell in enumerate(head)}
    columns: dict[str, int] = {}
    for name, words in HEADINGS.items():
        here = [places[word] for word in words if word in places]
        if here:
            columns[name] = here[0]
    lacking = [name for name in ("part", "value") if name not in columns]
    return columns, [
        f'{where}: the column "{name}" is missing. Start with part,operator,value.' for name in lacking
    ]


def _row(
    cells: list[str], columns: dict[str, int], where: str, decimal_comma: bool, units: Units
) -> StudyRow:
    def cell(name: str) -> str:
        place = columns.get(name, -1)
        return cells[place].strip() if 0 <= place < len(cells) else ""

    part, value = cell("part"), cell("value")
    operator = cell("operator") or (ALONE if "operator" not in columns else "")
    for name, text in (("part", part), ("operator", operator), ("value", value)):
        if not text:
            raise CalibError(f"{where}: {name} is empty. Fill it in, or take the row out.")
    typed = decimal_point(value) if decimal_comma else value
    return part, operator, length_from_text(typed, units, f"{where}: value"), value
