"""One row of a log's CSV to one `Cut`; what is wrong is noted and a stand-in is used, so reading goes on."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from calib.errors import CalibError, near_name
from calib.feel import BETWEEN, not_side_by_side
from calib.setupform import reading_from_text
from calib.setupform.lengths import decimal_point, length_from_text, length_to_text
from calib.shop import Adjuster, Cut, CutKind, Reading, Setup

YES = ("yes", "y", "all", "true")
NO = ("", "no", "n", "none", "false")


class Row:
    """The cells of one row by heading, where it stands, and what it must agree with.

    Parameters
    ----------
    where : str
        ``file:line``; every problem starts with it.
    cells : mapping of heading to text
    setup : Setup
    delimiter : str
        Of the file: unless it is a comma, a comma in a number is its decimal mark.
    problems : list of str
        Problems are added here.
    """

    def __init__(
        self, where: str, cells: Mapping[str, str], setup: Setup, delimiter: str, problems: list[str]
    ) -> None:
        self.where, self.cells, self.setup, self.problems = where, cells, setup, problems
        self.decimal_comma = delimiter != ","

    def cut(self, number: int, before: Cut | None) -> Cut:
        """Return the cut; `number` is that of the row, `before` fills in unchanged positions."""
        return Cut(
            number=self._whole("number", number),
            kind=self._kind(),
            settings_mm=MappingProxyType({a.name: self._position(a, before) for a in self.setup.adjusters}),
            readings=self._readings(),
            pieces=self._pieces(),
            metres_m=self._metres(),
            feel=self._feel(),
            stock=self._text("stock"),
            mounting=self._text("mounting"),
            sharpening=self._text("sharpening"),
            moved=self._moved(),
            note=self._text("note"),
            when=self._text("when"),
            at_hand=self._at_hand(),
            by=self._text("by"),
        )

    def _note(self, text: str) -> None:
        self.problems.append(f"{self.where}: {text}")

    def _text(self, column: str) -> str | None:
        return self.cells.get(column) or None

    def _number_text(self, column: str) -> str:
        text = self.cells.get(column, "")
        return decimal_point(text) if self.decimal_comma else text

    def _kind(self) -> CutKind:
        kind: dict[str, Literal["test", "good"]] = {"test": "test", "good": "good"}
        text = self.cells.get("kind", "")
        found = kind.get(text.lower())
        if found is None and "kind" in self.cells:
            self._note(f'kind "{text}" is neither test nor good. Write one of the two.')
        return found or "test"

    def _whole(self, column: str, default: int) -> int:
        text = self._text(column)
        if text is None:
            return default
        if not re.fullmatch(r"\+?\d{1,9}", text) or int(text) < 1:
            self._note(f'{column} "{text}" will not do. Write a whole number, 1 or more.')
            return default
        return int(text)

    def _pieces(self) -> int:
        measured = any(self.cells.get(column) for column in ("feel", *(b.name for b in self.setup.bands)))
        if self.cells.get("pieces") == "0" and not measured:
            return 0  # nothing was cut: the row only says where the machine stands now
        return self._whole("pieces", 1)

    def _metres(self) -> float | None:
        text = self._number_text("metres")
        if not text:
            return None
        try:
            metres = float(text)
        except ValueError:
            metres = math.nan
        if not 0.0 <= metres < math.inf:
            self._note(f'metres "{text}" will not do. Write the metres cut in this row, 0 or more.')
            return None
        return metres

    def _position(self, adjuster: Adjuster, before: Cut | None) -> float:
        text = self._number_text(adjuster.name)
        if not text:
            if before is None and adjuster.has_scale and adjuster.name in self.cells:
                self._note(f"{adjuster.name} is empty in the first row. Write where its scale stood.")
            return before.settings_mm[adjuster.name] if before is not None else 0.0
        try:
            mm = length_from_text(text, self.setup.units, f"{self.where}: {adjuster.name}")
        except CalibError as error:
            self.problems.append(str(error))
            return before.settings_mm[adjuster.name] if before is not None else 0.0
        if not adjuster.low_mm <= mm <= adjuster.high_mm:
            low, high = (length_to_text(end, self.setup.units) for end in (adjuster.low_mm, adjuster.high_mm))
            self._note(
                f'{adjuster.name} "{text}" is outside its range {low} to {high} {self.setup.units}. '
                "Mend the number, or the range in the setup."
            )
        return mm

    def _readings(self) -> Mapping[str, tuple[Reading, ...]]:
        found: dict[str, tuple[Reading, ...]] = {}
        for band in self.setup.bands:
            text = self._number_text(band.name)
            if not text:
                continue
            try:
                found[band.name] = reading_from_text(text, self.setup.units, f"{self.where}: {band.name}")
            except CalibError as error:
                self.problems.append(str(error))
        return MappingProxyType(found)

    def _feel(self) -> str | None:
        word = self._text("feel")
        words = list(self.setup.feel.words)
        if word is None or self.setup.feel.knows(word):
            return word
        if not words:
            self._note(f'feel "{word}": this setup has no words. Give it some in [feel], words = {{ ... }}.')
        elif BETWEEN in word:
            self._note(not_side_by_side(self.setup.feel, word))
        else:
            near = near_name(word, words)
            advice = f'Did you mean "{near}"?' if near else f"Known: {', '.join(words)}."
            self._note(f'feel "{word}" is not a word of this setup. {advice}')
        return None

    def _moved(self) -> frozenset[str]:
        text = self.cells.get("moved", "")
        names = [adjuster.name for adjuster in self.setup.adjusters]
        if text.lower() in NO:
            return frozenset()
        if text.lower() in YES:
            return frozenset(names)
        moved = [name for name in re.split(r"[\s,;+]+", text) if name]
        for name in moved:
            if name not in names:
                near = near_name(name, names)
                advice = f'Did you mean "{near}"?' if near else f"Write yes, or out of: {', '.join(names)}."
                self._note(f'moved "{name}" is not an adjuster. {advice}')
        return frozenset(moved)

    def _at_hand(self) -> bool:
        text = self.cells.get("at_hand", "").lower()
        if text and text not in (*YES, *NO):
            self._note(f'at_hand "{text}" will not do. Write yes or no.')
        return text == "" or text in YES
