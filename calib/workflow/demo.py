"""The main job on the sample logs, start to end, each in a database that is thrown away.

Every cut is typed in as a maker would, one after the other, and the advice is asked for after each.
The samples are invented: nothing in them was measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from calib.decision.advice import Advice
from calib.errors import CalibError
from calib.shop import JOINT_KINDS, Cut, Setup
from calib.workflow import cuts as cut_cases
from calib.workflow import cutters, mountings, next, setups
from calib.workflow.shopfloor import Shop, open_shop

#: The demonstration's own clock stands still, so that it always says the same.
_CLOCK = "2025-01-01T09:00:00+00:00"

STORIES: dict[str, str] = {
    "finger": "The corners of a run of spice chests in black cherry. The fingers should push home by "
    "hand; the key of the jig is set by its screw, and cherry that is spoiled cannot be had again.",
    "groove": "The groove that holds the plywood bottom. Too shallow or out of place, and the corners "
    "no longer close; fence and cutter height are both set by eye.",
    "inlay": "An ash inlay in the lid, pocket and insert cut on the router. What is set is the cutter "
    "diameter that is typed in; a line that shows cannot be filled.",
    "plain": "A cut that is measured and set again until it is right.",
}


@dataclass(frozen=True)
class DemoStep:
    """One cut as it was logged, and what the program said then."""

    cut: Cut
    advice: Advice


@dataclass(frozen=True)
class DemoLog:
    """One sample log, walked through."""

    setup: Setup
    story: str
    steps: tuple[DemoStep, ...]


def sample_paths() -> list[Path]:
    """Return the TOML files of the sample logs; `CalibError` when the program came without them."""
    for folder in (_installed(), Path(__file__).resolve().parents[2] / "sample_logs"):
        found = sorted(folder.glob("*.toml")) if folder is not None else []
        if found:
            return found
    raise CalibError("the sample logs are not there. Install the program again, with its sample_logs folder.")


def walk_samples() -> Iterator[DemoLog]:
    """Walk through the sample logs, a kind of joint after the other."""
    from calib.logfile import load_log

    loaded = [load_log(path) for path in sample_paths()]
    loaded.sort(key=lambda log: (JOINT_KINDS.index(log[0].joint.kind), log[0].name))
    for setup, cuts in loaded:
        with (
            TemporaryDirectory(prefix="calib-demo-") as folder,
            open_shop(Path(folder) / "demo.db", now=lambda: _CLOCK) as shop,
        ):
            yield DemoLog(setup, STORIES[setup.joint.kind], tuple(_walk(shop, setup, cuts)))


def _walk(shop: Shop, setup: Setup, cuts: Sequence[Cut]) -> Iterator[DemoStep]:
    """Log one sample's cuts in order and ask for advice after each."""
    good = sum(cut.pieces for cut in cuts if cut.kind == "good")
    setups.add(shop, replace(setup, pieces_left=setup.pieces_left + good))
    before: Cut | None = None
    for cut in cuts:
        _prepare(shop, setup, cut, before)
        logged = _log(shop, setup, cut)
        yield DemoStep(logged.cut, next.next_step(shop, setup.name))
        before = cut


def _prepare(shop: Shop, setup: Setup, cut: Cut, before: Cut | None) -> None:
    """Mount and sharpen where the log says that this happened before the cut."""
    if before is None:
        return
    if cut.mounting is not None and cut.mounting != before.mounting:
        mountings.mount(shop, setup.name, stock=cut.stock)
    if cut.sharpening is not None and cut.sharpening != before.sharpening:
        cutters.sharpen(shop, setup.cutter.name)


def _log(shop: Shop, setup: Setup, cut: Cut) -> cut_cases.LoggedCut:
    """Log one cut as it stands in the sample."""
    entry = cut_cases.CutEntry(
        settings_mm=cut.settings_mm,
        readings=cut.readings,
        feel=cut.feel,
        stock=cut.stock,
        note=cut.note,
        metres_m=cut.metres_m,
        pieces=cut.pieces,
        moved=frozenset() if cut.kind == "good" else cut.moved,
    )
    if cut.kind == "good":
        return cut_cases.log_good(shop, setup.name, entry)
    return cut_cases.log_cut(shop, setup.name, entry)


def _installed() -> Path | None:
    """Return the folder of the installed sample logs."""
    try:
        folder = resources.files("calib.sample_logs")
    except ModuleNotFoundError:
        return None
    return folder if isinstance(folder, Path) else None
