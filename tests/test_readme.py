"""The README says what the program does: its commands are run and its output compared.

``python tests/test_readme.py --write`` runs the blocks and writes their output into README.md.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
BLOCK = re.compile(r"(<!-- run -->\n```console\n)(.*?)(```\n)", re.DOTALL)


def run_blocks(text: str, database: Path) -> str:
    """Run every command of the marked blocks, in order, and return the README with what they print."""
    env = {
        **os.environ,
        "CALIB_DB": str(database),
        "COLUMNS": "80",
        "PYTHONUTF8": "1",
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ.get('PATH', '')}",
    }

    def run(match: re.Match[str]) -> str:
        lines = []
        for line in match[2].splitlines():
            if line.startswith("$ "):
                done = subprocess.run(
                    line[2:], shell=True, env=env, capture_output=True, encoding="utf-8", check=False
                )
                assert done.returncode == 0, (line, done.stdout, done.stderr)
                lines += [line, *done.stdout.splitlines()]
        return match[1] + "\n".join(lines) + "\n" + match[3]

    return BLOCK.sub(run, text)


def test_what_the_readme_shows_is_what_the_program_prints(tmp_path):
    text = README.read_text(encoding="utf-8")
    assert len(BLOCK.findall(text)) >= 3
    assert run_blocks(text, tmp_path / "shop.db") == text


def test_the_readme_opens_with_the_job_and_then_the_two_commands():
    text = README.read_text(encoding="utf-8")
    job, rest = text.split("\n\n", 2)[1:]
    assert job.startswith("calib tells a maker")
    assert rest.index("calib demo") < rest.index("-m pytest") < rest.index("\n## ")


def test_every_command_that_the_readme_names_is_there():
    text = README.read_text(encoding="utf-8")
    prose = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    said = re.findall(r"`calib ([a-z]+)", prose) + re.findall(r"^\$ calib ([a-z]+)", text, re.MULTILINE)
    names = set(said)
    assert {"next", "cut", "setup", "moved", "rehearse"} <= names
    for name in names:
        done = subprocess.run(
            [sys.executable, "-m", "calib.cli.main", name, "--help"], capture_output=True, check=False
        )
        assert done.returncode == 0, name


def test_every_sample_log_is_named_in_the_readme():
    text = README.read_text(encoding="utf-8")
    for path in (ROOT / "sample_logs").glob("*.toml"):
        assert f"sample_logs/{path.name}" in text


def test_the_layers_in_the_guide_are_those_that_the_tool_checks():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    text = DEVELOPERS.read_text(encoding="utf-8")
    for layer in contracts["contracts"][0]["layers"]:
        for name in re.split(r"[|:]", layer):
            assert f"`{name.strip()}" in text, name


if __name__ == "__main__" and "--write" in sys.argv:
    with tempfile.TemporaryDirectory() as folder:
        README.write_text(
            run_blocks(README.read_text(encoding="utf-8"), Path(folder) / "shop.db"), encoding="utf-8"
        )
