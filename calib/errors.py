"""One root for everything that is wrong with what the user gave.

A message is one line: where, what was found, what to do. Programming mistakes
are never turned into a `CalibError`; they stay tracebacks.
"""

from __future__ import annotations

from collections.abc import Sequence


class CalibError(Exception):
    """The input is wrong: one line that says where, what was found and what to do."""

    exit_code = 1


class UsageError(CalibError):
    """The command was put together wrongly (an option missing or of the wrong form)."""

    exit_code = 2


class LogError(CalibError):
    """A log has mistakes; every one of them is kept, in the order of the file.

    Parameters
    ----------
    problems : sequence of str
        One line each: ``file:line: what was found. What to do.``
    """

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def near_name(name: str, known: Sequence[str]) -> str | None:
    """Return the known name that looks most like a mistyped one, or None.

    >>> near_name("corner", ["corners", "bottom-groove"])
    'corners'
    """
    import difflib  # only needed when something is already wrong

    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def unknown(what: str, name: str, known: Sequence[str]) -> CalibError:
    """Make the error for a name that is not known, with a near name when there is one.

    >>> str(unknown("setup", "corner", ["corners"]))
    'there is no setup "corner". Did you mean "corners"?'
    """
    near = near_name(name, known)
    if near is not None:
        return CalibError(f'there is no {what} "{name}". Did you mean "{near}"?')
    if known:
        return CalibError(f'there is no {what} "{name}". Known: {", ".join(known)}.')
    return CalibError(f'there is no {what} "{name}", and none has been added yet.')
