"""The README and the guide for contributors say what is so: what can be run or looked up is, and compared.

    python tests/test_readme.py --write

renews in README.md all that is made: the output of the blocks after ``<!-- run -->``, the table of
commands and the sample log that is shown. Prose stays as it is.

No output that is shown may hold a time; a shop of its own is used, so the date does not matter.
"""

from __future__ import annotations

import ast
import inspect
import os
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
import typer

from calib.cli.program import app
from calib.decision.advice import Step
from calib.regression.learn.grid import MOUNTING_LOG_SD, MOUNTING_SD_MM
from calib.regression.learn.state import EDGE_SD_MM
from calib.regression.recession import HEAD_START_M, WEAR_SD_MM_PER_M
from calib.setupform.feelwords import FINGER_WORDS, INLAY_WORDS
from calib.shop import Knowledge, Stakes
from calib.workflow.newsetup import FINGER_FITS, STAKES

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"

RUN = re.compile(r"(<!-- run -->\n```console\n)(.*?)(```\n)", re.DOTALL)
COMMANDS = re.compile(r"(<!-- commands -->\n)(.*?)(<!-- end -->)", re.DOTALL)
FILE = re.compile(r"(<!-- file (\S+?\.(\w+)) -->\n)(.*?)(<!-- end -->)", re.DOTALL)
FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
#: A path from the root of a machine; a slash between words is none.
MACHINE_PATH = re.compile(r"(?:^|[\s`\"'(=])(/[A-Za-z][\w.-]*/|~/|[A-Z]:\\)", re.MULTILINE)


def readme() -> str:
    return README.read_text(encoding="utf-8")


def guide() -> str:
    return DEVELOPERS.read_text(encoding="utf-8")


def project_file() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def section(text: str, heading: str) -> str:
    """Return what stands under a heading of the second level."""
    return text.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]


def commands() -> dict[str, Any]:
    """Return the commands of the program by name, those of a group as "group command"."""
    program: Any = typer.main.get_command(app)
    found: dict[str, Any] = {}
    for name, command in program.commands.items():
        found[name] = command
        found |= {f"{name} {under}": part for under, part in getattr(command, "commands", {}).items()}
    return found


def made(text: str, folder: Path) -> str:
    """Return the README with everything that is made from the program made anew.

    Parameters
    ----------
    text : str
        The README as it stands.
    folder : Path
        An empty folder for the shop's database and whatever the commands write.
    """
    text = COMMANDS.sub(lambda match: match[1] + _command_table() + match[3], text)
    text = FILE.sub(lambda match: match[1] + _shown_file(match[2], match[3]) + match[5], text)
    return RUN.sub(lambda match: match[1] + _run(match[2], folder) + match[3], text)


def _command_table() -> str:
    known = commands()
    lines = ["| command | does |", "|---|---|"]
    for name in (name for name in known if " " not in name):
        parts = [key.partition(" ")[2] for key in known if key.startswith(f"{name} ")]
        also = f" {', '.join(f'`{part}`' for part in parts)}" if parts else ""
        lines.append(f"| `calib {name}`{also} | {known[name].get_short_help_str(300)} |")
    return "\n".join(lines) + "\n"


def _shown_file(path: str, kind: str) -> str:
    return f"```{kind}\n{(ROOT / path).read_text(encoding='utf-8').rstrip()}\n```\n"


def _run(block: str, folder: Path) -> str:
    """Return the commands of a block, each with what it prints now; one that fails ends the run."""
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith("CALIB_")},
        "CALIB_DB": str(folder / "shop.db"),
        "COLUMNS": "80",
        "TERM": "xterm",
        "PYTHONUTF8": "1",
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ.get('PATH', '')}",
    }
    environment.pop("PYTHONIOENCODING", None)
    lines = []
    for line in block.splitlines():
        if line.startswith("$ "):
            ran = subprocess.run(
                line[2:], shell=True, env=environment, cwd=folder, stdin=subprocess.DEVNULL,
                capture_output=True, encoding="utf-8", check=False,
            )  # fmt: skip
            if ran.returncode != 0 or ran.stderr:
                raise RuntimeError(f"README.md: {line}\n{ran.stdout}{ran.stderr}")
            lines += [line, *ran.stdout.splitlines()]
    return "\n".join(lines) + "\n"


def test_what_the_readme_shows_is_what_the_program_prints(tmp_path: Path) -> None:
    """Not so? python tests/test_readme.py --write, and read the diff."""
    text = readme()
    assert len(RUN.findall(text)) >= 3
    assert len(COMMANDS.findall(text)) == 1
    assert {name for _, name, *_ in FILE.findall(text)} >= {"sample_logs/lid-inlay.toml"}
    assert made(text, tmp_path).splitlines() == text.splitlines()


def test_an_output_that_has_changed_is_noticed_and_renewed(tmp_path: Path) -> None:
    stale = "<!-- run -->\n```console\n$ calib --version\ncalib 0.0\n```\n"
    renewed = made(stale, tmp_path)
    assert renewed != stale
    assert made(renewed, tmp_path) == renewed


def test_a_command_in_the_readme_that_fails_ends_the_run(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="there is no setup"):
        made("<!-- run -->\n```console\n$ calib next corners\n```\n", tmp_path)


def test_the_readme_opens_with_the_job_in_one_paragraph_and_then_the_two_commands() -> None:
    title, job, rest = readme().split("\n\n", 2)
    assert title == "# calib"
    assert "from the first cut in scrap to the last good piece" in " ".join(job.split())
    for name, last in (("the demo", "calib demo"), ("the tests", "-m pytest")):
        [command] = re.findall(rf"^<!-- {name} -->\n```sh\n([^\n]+)\n```$", rest, re.MULTILINE)
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
        assert command.endswith(last)
    assert rest.index("<!-- the demo -->") < rest.index("<!-- the tests -->") < rest.index("\n## ")


def test_the_numbers_of_the_opening_are_in_the_output_further_down() -> None:
    [_, job, rest] = readme().split("\n\n", 2)
    [quoted] = re.findall(r"\*([^*]+)\*", job)
    shown = " ".join("".join(block for _, block, _ in RUN.findall(rest)).split())
    numbers = re.findall(r"\d[\d.]* (?:mm|%)|an? \w+ of a turn", " ".join(quoted.split()))
    assert len(numbers) >= 3
    for number in numbers:
        assert number in shown, number


def said_commands(text: str) -> Iterator[list[str]]:
    """Yield the words of every command of the program that a text names, inline or in a block."""
    for line in re.findall(r"`calib ([^`]+)`", FENCED.sub("", text)):
        yield line.split()
    for _, block in FENCED.findall(text):
        for line in re.findall(r"^(?:\$ |.*&& .venv/bin/)calib ([^|\n]+)", block, re.MULTILINE):
            yield line.split()


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_command_and_option_that_is_named_is_there(document: Path) -> None:
    known = commands()
    text = document.read_text(encoding="utf-8")
    said = [words for words in said_commands(text) if words[0] not in ("COMMAND", "--help")]
    assert said
    for words in said:
        group = any(name.startswith(f"{words[0]} ") for name in known)
        name = " ".join(words[:2]) if group and len(words) > 1 else words[0]
        assert name in known, words
        options = {option for parameter in known[name].params for option in parameter.opts} | {"--help"}
        assert {word for word in words if re.fullmatch(r"--?[a-z][\w-]*", word)} <= options, words


def test_every_command_of_the_program_is_in_the_readme() -> None:
    table = section(readme(), "Commands")
    for name in commands():
        assert f"`{name.split()[-1]}`" in table or f"`calib {name}`" in table, name


def test_the_readme_explains_every_step_that_an_advice_can_have() -> None:
    for step in get_args(Step):
        assert f"`{step}`" in section(readme(), "How to read the advice"), step


def test_every_sample_log_is_named_in_the_readme() -> None:
    samples = sorted((ROOT / "sample_logs").glob("*.toml"))
    assert samples
    for path in samples:
        assert f"sample_logs/{path.name}" in readme()


def test_the_words_for_a_fit_are_named_in_the_readme() -> None:
    words = section(readme(), "Logs as files")
    for word in (*FINGER_WORDS, *INLAY_WORDS):
        assert f"`{word}`" in words, word
    assert f"({', '.join(FINGER_FITS)})" in section(readme(), "What it does not know")


def test_what_the_readme_says_is_assumed_is_what_the_program_assumes() -> None:
    text = " ".join(section(readme(), "What it does not know").split())
    known, stakes = Knowledge(), Stakes()
    for length in (known.offset_sd_mm, known.move_sd_mm, known.cut_sd_mm, known.reading_sd_mm):
        assert f"{length:g} mm" in text, length
    assert f"{100 * known.scale_sd:g} %" in text
    assert f"one reading in {1 / known.blunder_probability:g} a slip" in text
    assert f"a factor of {2.718281828**known.log_sd:.1f}" in text
    assert f"as {stakes.test_cut_min:g} minutes, a move as {stakes.move_min:g}" in text
    for word, minutes in STAKES.items():
        assert f"{minutes:g} ({word})" in text
    edge = " ".join(section(readme(), "How long an edge lasts").split())
    assert f"a scale of {100 * WEAR_SD_MM_PER_M:g} mm per 100 m" in edge
    assert f"some {HEAD_START_M:g} m more" in edge
    assert f"A regrind is taken as {stakes.regrind_min:g} minutes" in edge
    off = (known.wear_sd_mm_per_m, known.creep_sd_mm, known.zero_sd_mm, known.stock_sd_mm)
    assert off == (0.0, 0.0, 0.0, 0.0)
    assert known.mounting_sd_mm is None
    assert f"{MOUNTING_SD_MM:g} mm (one standard deviation, no source" in text
    assert f"a factor of {2.718281828**MOUNTING_LOG_SD:.1f} either way" in text
    assert f"Another edge in it is taken to be within {EDGE_SD_MM:g} mm, no source" in text


def test_the_python_in_the_readme_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    [code] = [block for kind, block in FENCED.findall(readme()) if kind == "python"]
    exec(compile(ast.parse(code), "README.md", "exec"), {})
    assert capsys.readouterr().out.strip() in get_args(Step)


def test_the_layers_in_the_guide_are_those_that_the_tool_checks_in_their_order() -> None:
    contracts = project_file()["tool"]["importlinter"]["contracts"]
    [rule] = [contract for contract in contracts if contract["type"] == "layers"]
    layers = [re.split(r"\s*[|:]\s*", layer) for layer in rule["layers"]]
    table = re.findall(r"^\| (`[^|]+) \|", section(guide(), "The layers"), re.MULTILINE)
    assert [re.findall(r"`(\w+)`", row) for row in table] == layers


def test_the_guide_names_every_library_that_is_pinned() -> None:
    project = project_file()["project"]
    pinned = sum(project["optional-dependencies"].values(), project["dependencies"])
    text = section(guide(), "Dependencies")
    for requirement in pinned:
        name = re.split(r"[<>=~!\[; ]", requirement)[0]
        assert f"`{name}`" in text, name


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_file_that_is_named_is_there(document: Path) -> None:
    prose = FENCED.sub("", document.read_text(encoding="utf-8"))
    named = re.findall(r"`((?:[\w.-]+/)*[\w.-]+\.(?:py|md|toml|csv|svg)|(?:[\w.-]+/)+)(?: [^`]*)?`", prose)
    assert named
    for name in named:
        if not name.startswith("NAME."):
            assert any((base / name).exists() for base in (ROOT, ROOT / "calib")), name


def test_the_changelog_has_the_present_version_on_top() -> None:
    versions = re.findall(r"^### (\S+)", section(guide(), "Changelog"), re.MULTILINE)
    assert versions[0] == project_file()["project"]["version"]


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_no_path_of_a_machine_and_no_badge(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    assert MACHINE_PATH.findall(text) == []
    assert "[![" not in text


def test_a_path_of_a_machine_would_be_found() -> None:
    home = "/".join(["", "home", "maker", "shop.db"])
    assert MACHINE_PATH.findall(f"see {home}")
    assert MACHINE_PATH.findall("`~/shop.db`")
    assert MACHINE_PATH.findall("mg/m³ and tests/benchmarks/ and a/b") == []


def test_this_page_says_how_it_is_renewed() -> None:
    assert "tests/test_readme.py --write" in guide()
    assert "--write" in (inspect.getdoc(sys.modules[__name__]) or "")


if __name__ == "__main__" and "--write" in sys.argv:
    with tempfile.TemporaryDirectory() as place:
        README.write_text(made(readme(), Path(place)), encoding="utf-8")
