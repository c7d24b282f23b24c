"""The words after a command: ``corners key=6.14 clearance=-0.07``, ``key by 0.14 toward``.

A word is name=value; a first word without ``=`` is the setup. A reading named twice is a repeat.
What a reading is worked out from is named in its place (``slot=6.02 slot=6.00 finger=6.07``), and a
gauge behind a reading is the one that took it (``finger=6.07@micro``).
Every mistake in the words is reported, not only the first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from calib.errors import CalibError, LogError, UsageError, near_name
from calib.measurement.derived import gives
from calib.setupform import reading_from_text
from calib.shop import Adjuster, Interval, Reading, Setup
from calib.units import parse_length
from calib.workflow.derived import RawEntry, raw_names

Units = Literal["mm", "in"]
TEXTS = ("feel", "by", "stock", "note", "gauge")
#: A feeler blade or pin that goes in, and one that does not: limits of the first reading.
BLADES = ("goes", "stops")
OTHERS = (*TEXTS, *BLADES, "metres", "moved", "pitches")


@dataclass
class Said:
    """What the words said: lengths in mm, and every value as typed."""

    settings_mm: dict[str, float] = field(default_factory=dict)
    readings: dict[str, tuple[Reading, ...]] = field(default_factory=dict)
    plain: dict[str, str] = field(default_factory=dict)
    metres_m: float | None = None
    moved: frozenset[str] = frozenset()
    texts: dict[str, str] = field(default_factory=dict)
    raws: list[RawEntry] = field(default_factory=list)
    pitches: int | None = None
    gauges: dict[str, str] = field(default_factory=dict)

    @property
    def read_something(self) -> bool:
        """True when there is a reading, a word or what a reading is worked out from."""
        return bool(self.readings or self.raws or "feel" in self.plain)


def split_setup(words: Sequence[str]) -> tuple[str | None, list[str]]:
    """Take the setup's name off the words, when the first one is no name=value."""
    if words and "=" not in words[0] and not words[0].startswith("-"):
        return words[0], list(words[1:])
    return None, list(words)


def pairs(words: Sequence[str]) -> list[tuple[str, str]]:
    """Return (name, value) of every word; raise `UsageError` for a word of another form.

    >>> pairs(["key=6.14", "note=a=b"])
    [('key', '6.14'), ('note', 'a=b')]
    """
    found = []
    for word in words:
        name, equals, value = word.partition("=")
        if name.startswith("--") or (name.startswith("-") and not equals):
            raise UsageError(f"there is no option {name}. Try --help for those that there are.")
        if not equals:
            raise UsageError(f'"{word}" is not of the form name=value, such as key=6.14 or feel=mallet.')
        if not name or not value.strip():
            raise UsageError(
                f'"{word}" has no {"value" if name else "name"}. Write name=value, such as key=6.14.'
            )
        found.append((name.strip(), value.strip()))
    return found


def read_words(
    setup: Setup, words: Sequence[str], units: Units | None = None, allowed: Sequence[str] = OTHERS
) -> Said:
    """Understand the name=value words of a cut.

    Parameters
    ----------
    setup : Setup
        Says which names are adjusters and which are readings.
    words : sequence of str
    units : {"mm", "in"} or None
        Unit of bare numbers; None = the setup's.
    allowed : sequence of str
        Which other names may be given ("adjusters" stands for all of them).

    Raises
    ------
    UsageError, CalibError, LogError
        One line for every word that is wrong.
    """
    said, problems = Said(), []
    blades: dict[str, float] = {}
    for name, text in pairs(words):
        try:
            if name in BLADES and name in allowed and not _is_named(setup, name):
                _once(said, name)
                blades[name], said.texts[name] = parse_length(text, units or setup.units, name).mm, text
            else:
                _take(said, setup, name, text, units or setup.units, allowed)
        except CalibError as error:
            problems.append(error)
    try:
        _take_blades(said, setup, blades)
    except CalibError as error:
        problems.append(error)
    if len(problems) == 1:
        raise problems[0]
    if problems:
        raise LogError([str(problem) for problem in problems])
    return said


def _take(said: Said, setup: Setup, name: str, text: str, units: Units, allowed: Sequence[str]) -> None:
    """Put one value where it belongs."""
    adjusters = [adjuster.name for adjuster in setup.adjusters]
    readings = [band.name for band in setup.bands]
    if name in readings or name in raw_names(setup):
        text, by = _with_gauge(said, name, text)
    if name in raw_names(setup) and name not in adjusters:
        for part in text.split("|"):
            (reading,) = reading_from_text(part.strip(), units, name)
            said.raws.append(RawEntry(name, reading, part.strip(), by))
        said.texts[name] = f"{said.texts[name]}|{text}" if name in said.texts else text
        return
    if name in readings:
        said.readings[name] = said.readings.get(name, ()) + reading_from_text(text, units, name)
        said.texts[name] = f"{said.texts[name]}|{text}" if name in said.texts else text
        return
    if name in adjusters and "adjusters" in allowed:
        _once(said, name)
        said.settings_mm[name] = setting_mm(setup.adjuster(name), text, units, name)
    elif name in OTHERS and name in allowed:
        _once(said, name)
        _take_other(said, adjusters, name, text)
    else:
        scales = adjusters if "adjusters" in allowed else []
        raise _unknown_name(setup, name, [*readings, *scales, *allowed, *_raws_for(setup)])
    said.texts[name] = text


def _is_named(setup: Setup, name: str) -> bool:
    """Say whether a setup has a reading or an adjuster of this name."""
    return name in (*(band.name for band in setup.bands), *(adjuster.name for adjuster in setup.adjusters))


def _take_blades(said: Said, setup: Setup, blades: Mapping[str, float]) -> None:
    """Make an interval of the first reading of what goes in and what does not."""
    if not blades:
        return
    low, high = blades.get("goes", -math.inf), blades.get("stops", math.inf)
    if not low < high:
        raise CalibError(
            f"goes {low:g} mm is not below stops {high:g} mm. The thinner blade goes, the thicker one stops."
        )
    name = setup.bands[0].name
    said.readings[name] = (*said.readings.get(name, ()), Interval(low, high))
    text = " ".join(f"{blade} {said.texts.pop(blade)}" for blade in BLADES if blade in blades)
    said.texts[name] = f"{said.texts[name]}|{text}" if name in said.texts else text


def setting_mm(adjuster: Adjuster, text: str, units: Units, where: str) -> float:
    """Read where an adjuster stands: a length, marks of its own scale, or the shims that are in (0.30+0.05).

    >>> setting_mm(Adjuster("key", shims_mm=(0.3, 0.05)), "0.30+0.05", "mm", "key")
    0.35
    >>> setting_mm(Adjuster("key", mark_mm=0.05), "37.5", "mm", "key")
    1.875
    """
    if adjuster.shims_mm and "+" in text.strip().lstrip("+"):
        parts = [parse_length(part, units, where).mm for part in text.split("+")]
        return round(sum(parts), 9)
    if adjuster.mark_mm > 0.0 and is_plain(text) and "mm" not in text:
        return round(float(text) * adjuster.mark_mm, 9)
    return parse_length(text, units, where).mm


def _take_other(said: Said, adjusters: Sequence[str], name: str, text: str) -> None:
    """Put a value that is neither a setting nor a reading where it belongs."""
    if name == "metres":
        said.metres_m = metres(text)
    elif name == "pitches":
        said.pitches = _whole(name, text)
    elif name == "moved":
        named = adjusters if text == "yes" else [part.strip() for part in text.replace("|", ",").split(",")]
        for adjuster in named:
            if adjuster not in adjusters:
                raise CalibError(f'moved "{adjuster}" is no adjuster. Write one of: {", ".join(adjusters)}.')
        said.moved = frozenset(named)
    else:
        said.plain[name] = text


def _with_gauge(said: Said, name: str, text: str) -> tuple[str, str | None]:
    """Take the gauge off a reading: 6.07@micro."""
    value, at, gauge = text.partition("@")
    if at and not (value.strip() and gauge.strip()):
        raise UsageError(f'{name} "{text}" is not of the form value@gauge, such as 6.07@micro.')
    if at:
        said.gauges[name] = gauge.strip()
    return value.strip(), gauge.strip() or None


def _raws_for(setup: Setup) -> list[str]:
    """Return the raw readings that something of this setup is worked out from."""
    return [name for name in raw_names(setup) if gives(name) & {band.name for band in setup.bands}]


def _whole(name: str, text: str) -> int:
    """Read a count."""
    if not (text.isdigit() and 1 <= int(text) <= 1000):
        raise CalibError(f'{name} "{text}" is not a number of {name}. Write a whole one, as {name}=5.')
    return int(text)


def metres(text: str) -> float:
    """Read metres cut, a plain number.

    >>> metres("0,8 m")
    0.8
    """
    bare = text.strip().removesuffix("m").strip().replace(",", ".")
    try:
        value = float(bare)
    except ValueError:
        value = -1.0
    if not 0.0 <= value < 1e6:
        raise CalibError(f'metres "{text}" is not a number of metres. Write it as metres=0.8.')
    return value


def _once(said: Said, name: str) -> None:
    """Refuse a second value for what can have only one."""
    if name in said.texts:
        raise UsageError(f"{name} is given twice. Give it once (only readings can be repeated).")


def _unknown_name(setup: Setup, name: str, known: Sequence[str]) -> CalibError:
    """Say that a name is neither a reading nor an adjuster nor another word."""
    names = [known_name for known_name in known if known_name != "adjusters"]
    near = near_name(name, names)
    hint = f'Did you mean "{near}"?' if near else f"Known here: {', '.join(names)}."
    return CalibError(f'setup {setup.name} has no "{name}". {hint}')


def understood(texts: Mapping[str, str], echo: Sequence[str], bare_are_plain: bool = True) -> list[str]:
    """Return the lines of an echo that speak of values which were not typed plainly.

    Parameters
    ----------
    texts : mapping of name to what was typed
    echo : sequence of str
        Lines that begin with the name and what was typed.
    bare_are_plain : bool
        False when a bare number took another unit than the setup's.
    """
    odd = [f"{name} {text} " for name, text in texts.items() if not is_plain(text, bare_are_plain)]
    return [line for line in echo if line.startswith(tuple(odd))]


def is_plain(text: str, bare_is_plain: bool = True) -> bool:
    """Say whether a length was typed as a bare number or in mm; repeats are joined by bars.

    >>> is_plain("0.06|0.07"), is_plain("6 mm"), is_plain("1/4 in"), is_plain("0.25", False)
    (True, True, False, False)
    """
    try:
        for part in text.split("|"):
            float(part.replace("mm", ""))
            if "mm" not in part and not bare_is_plain:
                return False
    except ValueError:
        return False
    return True
