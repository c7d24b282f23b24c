"""A setup copied to a new one: another cutter, another thickness of stock; what carries over and what not."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calib.decision.cautions import cautions_for
from calib.errors import CalibError, UsageError
from calib.regression.footing import start_setting
from calib.shop import Cutter, Joint, Setup
from calib.store import nouns
from calib.workflow import cutters, setups
from calib.workflow.bench import Bench
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop
from calib.workflow.stocks import thicknesses


@dataclass(frozen=True)
class Copied:
    """A new setup made from another one.

    Parameters
    ----------
    carries, leaves : tuple of str
        What holds for the new one too, and what has to be found out or looked at anew.
    starts_mm : mapping of adjuster name to mm
        Where geometry would start the scales that it knows.
    """

    setup: Setup
    copied_from: str
    carries: tuple[str, ...]
    leaves: tuple[str, ...]
    starts_mm: dict[str, float]
    cautions: tuple[str, ...] = ()


def copy(
    shop: Shop,
    old_name: str,
    new_name: str,
    *,
    cutter: str | None = None,
    cutter_width_mm: float | None = None,
    thickness_mm: float | None = None,
) -> Copied:
    """Copy a setup, with another cutter or another stock thickness if one is given.

    Parameters
    ----------
    cutter : str, optional
        One that the shop has, or a new one, which needs its width.
    thickness_mm : float, optional, mm
        Of the stock that the new setup is for.

    Raises
    ------
    CalibError
        A name that is taken, a cutter without a width, a thickness for a joint that has none.
    """
    with shop.writing() as connection:
        bench = bench_of(connection, old_name)
        old = bench.setup
        own = {name: mm for name, mm in old.thicknesses_mm.items() if name not in thicknesses(connection)}
        new = replace(
            old,
            name=new_name,
            cutter=_cutter(shop, old, cutter, cutter_width_mm),
            joint=_joint(old, thickness_mm),
            stock=old.stock if thickness_mm is None else None,
            thicknesses_mm=own,
        )
        made = setups.add(shop, new)
    return Copied(
        made, old_name, _carries(old, made), _leaves(bench, made), _starts(made), cautions_for(made)
    )


def _cutter(shop: Shop, old: Setup, name: str | None, width_mm: float | None) -> Cutter:
    if name is None or name == old.cutter.name:
        if width_mm is not None and width_mm != old.cutter.nominal_mm:
            raise UsageError("setup copy: another width is another cutter. Name it with --cutter.")
        return old.cutter
    row = nouns.named(shop.connection, "cutters", name)
    if row is None:
        if width_mm is None:
            raise CalibError(f"there is no cutter {name} yet. Give its width with --cutter-width.")
        return Cutter(name, width_mm)
    if width_mm is not None and width_mm != row["nominal_mm"]:
        raise CalibError(f"cutter {name} is {row['nominal_mm']:g} mm wide in this shop, not {width_mm:g} mm.")
    return Cutter(name, row["nominal_mm"], cutters.get(shop, name).metres_m)


def _joint(old: Setup, thickness_mm: float | None) -> Joint:
    if thickness_mm is None:
        return old.joint
    if old.joint.kind not in ("finger", "groove"):
        raise CalibError(
            f"setup {old.name}: the stock's thickness plays no part in a joint of kind {old.joint.kind}. "
            "Leave --thickness out."
        )
    return replace(old.joint, thickness_mm=thickness_mm)


def _carries(old: Setup, new: Setup) -> tuple[str, ...]:
    bands = ", ".join(band.name for band in new.bands)
    scales = ", ".join(adjuster.name for adjuster in new.adjusters)
    lines = [
        f"What is wanted ({bands}), what it costs to miss it, and the words for a feel.",
        f"The adjusters ({scales}) with their steps, threads and ranges.",
        "What is believed of this shop's moves, cuts and readings.",
    ]
    if new.cutter.name == old.cutter.name:
        lines.append(f"The cutter {new.cutter.name} with its metres: both setups wear the same edge.")
    return tuple(lines)


def _leaves(bench: Bench, new: Setup) -> tuple[str, ...]:
    old = bench.setup
    stays = len(bench.own)
    lines = [
        f"Where it stands: the offset is found anew. What was cut on {old.name} stays there."
        if stays
        else "Where it stands: the offset is found anew."
    ]
    if new.cutter.name != old.cutter.name:
        lines.append(f"Wear: {new.cutter.name} has its own edge and its own metres.")
        if new.joint.kind == "finger":
            lines.append("The key: it has to fit the slot of the new cutter, and not stand wider than it.")
    if new.joint.thickness_mm != old.joint.thickness_mm:
        lines += _with_thickness(new)
    return tuple(lines)


def _with_thickness(new: Setup) -> list[str]:
    lines = [f"Stock: none is named yet. Name it with: calib mount {new.name} --stock NAME"]
    depths = [band.name for band in new.bands if band.name in ("depth", "setback", "wall")]
    if depths:
        lines.append(
            f"The band of {' and '.join(depths)}: it may hang on the thickness, and is as it was. "
            f"Change it with: calib setup change {new.name} {depths[0]}.target=..."
        )
    return lines


def _starts(new: Setup) -> dict[str, float]:
    return {a.name: start_setting(new, a.name) for a in new.adjusters if a.has_scale}
