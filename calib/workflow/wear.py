"""`calib wear CUTTER`: how far the edge has worn, and how long each setup that uses it holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.decision.cautions import cautions_for
from calib.errors import CalibError, unknown
from calib.geometry.edge import alike
from calib.shop import Cut, Setup
from calib.store import sharpenings
from calib.store.database import snapshot
from calib.workflow import cutters, setups
from calib.workflow.sharing import EdgeWear, Sharer, sharers, told_of, wear_of, with_prior
from calib.workflow.shopfloor import Shop

if TYPE_CHECKING:  # numpy comes with them
    from calib.decision.edgelife import EdgeLeft, Foreseen, WearPicture
    from calib.regression.prospect import Prospect

#: Places ahead at which each reading is told.
_STEPS = 4
_LEAST_REACH_M = 4.0


@dataclass(frozen=True)
class SetupAhead:
    """One setup on the edge: what is left for it and what it will read.

    Parameters
    ----------
    height_mm : float or None
        How much of the edge it engages.
    """

    setup: Setup
    height_mm: float | None
    left: EdgeLeft
    foreseen: tuple[tuple[Foreseen, ...], ...]
    regrind_after_pieces: float | None


@dataclass(frozen=True)
class EdgeReport:
    """Setups of a like engaged height, and the recession that they share there.

    Parameters
    ----------
    rests_on : tuple of (setup, number of cuts that speak of the wear)
    rate_mm_per_100_m, recession_mm : (low, median, high)
        90 % ranges, of the steady rate and of the recession so far.
    established : bool
    given : bool
        The maker gave the prior (`wear_sd`), so lengths are told in any case.
    """

    rests_on: tuple[tuple[str, int], ...]
    rate_mm_per_100_m: tuple[float, float, float]
    recession_mm: tuple[float, float, float]
    established: bool
    given: bool
    setups: tuple[SetupAhead, ...]
    picture: WearPicture


@dataclass(frozen=True)
class WearReport:
    """What `calib wear` says.

    Parameters
    ----------
    metres_m, weighed_m : float, m
        Cut since sharp, as cut and at the abrasiveness of each stock.
    edges : tuple of EdgeReport
        One for each engaged height.
    """

    cutter: str
    sharpening: str
    metres_m: float
    weighed_m: float
    confidence: float
    regrind_min: float
    edges: tuple[EdgeReport, ...]
    cautions: tuple[str, ...]


def wear(
    shop: Shop, cutter_name: str, *, confidence: float = 0.9, regrind_min: float | None = None
) -> WearReport:
    """Return how far the present edge of a cutter has worn, and how long each setup holds.

    Parameters
    ----------
    confidence : float
        Of every "holds at least"; from 0.5 to below 1.
    regrind_min : float, minutes, or None
        What a regrind costs, dialling in again included; None = what each setup's stakes say.

    Raises
    ------
    CalibError
        When there is no such cutter, or no setup uses it yet.
    """
    if not 0.5 <= confidence < 1.0:
        raise CalibError(f"confidence {confidence:g} will not do. Give 0.5 to 0.99, such as 0.9 for 90 %.")
    if regrind_min is not None and not 0.0 <= regrind_min < math.inf:
        raise CalibError(f"regrind {regrind_min:g} will not do. Give its minutes, 0 or more.")
    with snapshot(shop.connection):
        record = cutters.get(shop, cutter_name)
        row = cutters.row_of(shop.connection, cutter_name)
        present = sharpenings.of_cutter(shop.connection, row["root"])[-1]
        found = sharers(shop.connection, row["root"], int(present["id"]))
    if not found:
        raise CalibError(
            f"no setup uses cutter {cutter_name} yet. Put it in one: calib mount SETUP --cutter {cutter_name}"
        )
    groups = [_edge(group, confidence, regrind_min) for group in _by_height(found)]
    kinds = {one.setup.joint.kind: one.setup for one in found}
    cautions = tuple(dict.fromkeys(line for setup in kinds.values() for line in cautions_for(setup)))
    weighed = max((group.picture.now_m for group in groups), default=record.metres_m)
    cost = regrind_min if regrind_min is not None else found[0].setup.stakes.regrind_min
    return WearReport(
        record.name, record.sharpening, record.metres_m, weighed, confidence, cost, tuple(groups), cautions
    )


def cutter_meant(shop: Shop, name: str | None = None) -> str:
    """Return the cutter meant: the one named, that of a setup named, else that of the setup used last."""
    if name is not None and any(one.name == name for one in cutters.all(shop)):
        return name
    known = [one.name for one in setups.all(shop)]
    if name is None or name in known:
        return setups.get(shop, setups.resolve(shop, name)).cutter.name
    raise unknown("cutter", name, [*(one.name for one in cutters.all(shop)), *known])


def _by_height(found: list[Sharer]) -> list[list[Sharer]]:
    """Group setups of a like engaged height; one that is like two groups joins them."""
    groups: list[list[Sharer]] = []
    for sharer in found:
        near = [group for group in groups if any(alike(sharer.use, other.use) for other in group)]
        groups = [group for group in groups if group not in near]
        groups.append([*(one for group in near for one in group), sharer])
    return sorted(groups, key=lambda group: min(one.setup.name for one in group))


def _edge(group: list[Sharer], confidence: float, regrind_min: float | None) -> EdgeReport:
    from calib.decision.edgelife import wear_picture
    from calib.regression.infer import posterior, standing
    from calib.regression.prospect import prospect

    group, given = with_prior(sorted(group, key=lambda one: one.setup.name))
    shared = wear_of(group)
    speaking, beliefs, ahead, now_m = [], [], [], 0.0
    for sharer in group:
        rows = list(sharer.cuts) or [standing(sharer.setup)]
        known = told_of(shared, sharer) if shared.established else EdgeWear(sharer.setup, rows, {})
        found = posterior(known.setup, known.cuts, **known.known)
        beliefs.append(found.blocks)
        speaking.append((sharer.setup.name, _speaking(sharer, rows)))
        if sharer.present:
            futures = [prospect(block) for block in found.blocks]
            now_m = max(now_m, *(future.edge.cut_m for future in futures))
            ahead.append(_ahead(sharer, futures, given or shared.established, confidence, regrind_min))
    rate, worn = shared.range_of_rate(), shared.range_after(now_m)
    per_100 = (100.0 * rate[0], 100.0 * rate[1], 100.0 * rate[2])
    picture = wear_picture(shared, now_m, beliefs, [one.left for one in ahead])
    return EdgeReport(tuple(speaking), per_100, worn, shared.established, given, tuple(ahead), picture)


def _speaking(sharer: Sharer, rows: Sequence[Cut]) -> int:
    from calib.regression.terms import blocks_of

    cuts = {
        row.cut
        for block in blocks_of(sharer.setup, rows)
        for row in block.rows
        if row.recession and row.is_number
    }
    return len(cuts)


def _ahead(
    sharer: Sharer, futures: list[Prospect], established: bool, confidence: float, regrind_min: float | None
) -> SetupAhead:
    from calib.decision.edgelife import edge_left, foreseen

    setup = sharer.setup
    left = edge_left(setup, futures, established, confidence)
    metres = _places(setup, left)
    told = tuple(
        foreseen(setup, future, f, metres)
        for future in futures
        for f in range(len(future.readings))
        if future.edge.slopes[f]
    )
    cost = setup.stakes.regrind_min if regrind_min is None else regrind_min
    return SetupAhead(setup, sharer.use[1], left, told, left.regrind_after(cost))


def _places(setup: Setup, left: EdgeLeft) -> tuple[float, ...]:
    """Return round lengths ahead, as far as the pieces go or until the setup has left its bands."""
    known = [m for one in left.readings for m in (one.metres_m, one.likely_m) if m is not None]
    leaves = max([1.2 * m for m in known if math.isfinite(m) and m > 0.0], default=math.inf)
    reach = max(min(setup.pieces_left * left.metres_per_piece_m, leaves), _LEAST_REACH_M)
    step = 10.0 ** math.floor(math.log10(reach / _STEPS))
    step = next(k * step for k in (1.0, 2.0, 2.5, 5.0, 10.0) if k * step * _STEPS >= reach * (1.0 - 1e-9))
    return tuple(step * k for k in range(_STEPS + 1))


def published(report: WearReport) -> dict[str, Any]:
    """Return the report as names and numbers; what is not established or beyond what is told is None."""
    return {
        "cutter": report.cutter,
        "sharpening": report.sharpening,
        "metres_m": report.metres_m,
        "weighed_m": report.weighed_m,
        "confidence": report.confidence,
        "regrind_min": report.regrind_min,
        "edges": [
            {
                "rests_on": [{"setup": name, "cuts": cuts} for name, cuts in edge.rests_on],
                "rate90_mm_per_100_m": edge.rate_mm_per_100_m,
                "recession90_mm": edge.recession_mm,
                "established": edge.established,
                "given": edge.given,
                "setups": [_published(ahead) for ahead in edge.setups],
                "picture": edge.picture,
            }
            for edge in report.edges
        ],
        "cautions": report.cautions,
    }


def _published(ahead: SetupAhead) -> dict[str, Any]:
    return {
        "setup": ahead.setup.name,
        "height_mm": ahead.height_mm,
        "left": ahead.left,
        "foreseen": [one for told in ahead.foreseen for one in told],
        "regrind_after_pieces": ahead.regrind_after_pieces,
    }
