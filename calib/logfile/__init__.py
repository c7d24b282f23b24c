"""A log: a pair of text files that a maker can read, keep and mend.

NAME.toml holds the setup, NAME.csv beside it one row a cut. `load_log` reads the pair and reports every
mistake in both with file and line; `write_log` writes it so that it reads back as the very same setup
and cuts. What stands in the TOML is in `calib.setupform`, what stands in a row in `calib.logfile.rows`.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from calib.errors import CalibError, LogError
from calib.geometry import describe
from calib.logfile.rows import cuts_from_text, cuts_to_text
from calib.logfile.tomltext import setup_from_text, setup_to_text
from calib.shop import Cut, Setup

__all__ = ["load_log", "log_from_texts", "log_to_texts", "write_log"]


def load_log(path: str | os.PathLike[str]) -> tuple[Setup, list[Cut]]:
    """Read a log.

    Parameters
    ----------
    path : str or path
        NAME.toml (or NAME.csv); the other one is expected beside it.

    Returns
    -------
    setup : Setup
        All lengths in mm, whatever the log's unit.
    cuts : list of Cut
        In the order of the rows; every position filled in.

    Raises
    ------
    LogError
        With one line for every mistake in the two files; nothing is read halfway.

    Examples
    --------
    >>> setup, cuts = load_log("sample_logs/chest-corners.toml")
    >>> setup.joint.kind, cuts[0].number
    ('finger', 1)
    """
    toml_path, csv_path = _pair(Path(path))
    texts: list[str] = []
    problems: list[str] = []
    for file in (toml_path, csv_path):
        try:
            texts.append(_read(file))
        except CalibError as error:
            problems.append(str(error))
    if problems:
        raise LogError(problems)
    return log_from_texts(texts[0], texts[1], toml_path.name, csv_path.name)


def log_from_texts(
    toml_text: str, csv_text: str, toml_name: str = "log.toml", csv_name: str = "log.csv"
) -> tuple[Setup, list[Cut]]:
    """Read a log from its two texts; the names are what the errors say. Raises `LogError` as `load_log`."""
    setup, problems = setup_from_text(toml_text, toml_name)
    if setup is not None and not problems:
        problems = _joint_problems(setup, toml_name)
    cuts: list[Cut] = []
    if setup is not None:
        cuts, wrong = cuts_from_text(csv_text, csv_name, setup)
        problems = [*problems, *wrong]
    if problems or setup is None:
        raise LogError(problems)
    return setup, cuts


def log_to_texts(setup: Setup, cuts: Sequence[Cut]) -> tuple[str, str]:
    """Return the TOML and the CSV of a log; `log_from_texts` gives back equal setup and cuts."""
    return setup_to_text(setup), cuts_to_text(setup, cuts)


def write_log(setup: Setup, cuts: Sequence[Cut], toml_path: str | os.PathLike[str]) -> None:
    """Write a log as `toml_path` and the CSV beside it; each file is replaced whole or not at all.

    Raises
    ------
    CalibError
        When the folder cannot be written to.
    """
    toml_file, csv_file = _pair(Path(toml_path))
    for file, text in zip((toml_file, csv_file), log_to_texts(setup, cuts), strict=True):
        _write(file, text)


def _joint_problems(setup: Setup, name: str) -> list[str]:
    """Ask the joint's geometry whether it knows what every adjuster and reading is."""
    try:
        describe(setup, {adjuster.name: 0.0 for adjuster in setup.adjusters})
    except CalibError as error:
        return [f"{name}: {error}"]
    return []


def _pair(path: Path) -> tuple[Path, Path]:
    if path.suffix.lower() not in (".toml", ".csv"):
        raise LogError([f"{path}: a log is named by its .toml file. Write {path.name}.toml."])
    return path.with_suffix(".toml"), path.with_suffix(".csv")


def _read(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        other = "CSV with the cuts" if file.suffix == ".csv" else "TOML with the setup"
        raise CalibError(f"{file}: there is no such file. A log needs this {other}.") from None
    except UnicodeDecodeError as error:
        line = file.read_bytes()[: error.start].count(b"\n") + 1
        raise CalibError(f"{file.name}:{line}: this is not UTF-8 text. Save the file as UTF-8.") from None
    except OSError as error:
        raise CalibError(f"{file}: cannot be read: {error.strerror}.") from None


def _write(file: Path, text: str) -> None:
    part = file.with_name(file.name + ".part")
    try:
        part.write_bytes(text.encode("utf-8"))
        part.replace(file)
    except OSError as error:
        raise CalibError(f"{file}: cannot be written: {error.strerror}. Choose another folder.") from None
