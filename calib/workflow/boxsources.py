"""Where the numbers of a box come from: the log of a setup, what the maker gave, or nominal ones.

Every number is asked for once, and each time it is written down whether it was known or assumed.
"""

from __future__ import annotations

import math
import sqlite3

from calib.box.closing import Uncertain
from calib.box.numbers import CornerNumbers
from calib.errors import CalibError
from calib.regression.infer import Posterior, watched
from calib.regression.learn import through
from calib.shop import Cut, Setup
from calib.store import sharpenings
from calib.store.database import snapshot
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

#: Cutters are under their nominal width by 0.05 to 0.10 mm as a rule; common practice, no source.
NOMINAL_WIDTH_U_MM = 0.05
#: A width that was measured, on a slot or on the cutter; a depth blade; common practice, no source.
MEASURED_WIDTH_U_MM = 0.02
SAID_U_MM = 0.05
#: A cutter when nobody said which.
USUAL_CUTTER_MM = 6.0


class Source:
    """A setup's readings, or nominal numbers; keeps account of which was which.

    Parameters
    ----------
    name : str or None
        Of the setup; None = nominal numbers.
    measured_mm : float or None, mm
        Width of the cutter as measured when it was fitted or sharpened.
    """

    def __init__(
        self, name: str | None, setup: Setup | None, log: list[Cut], measured_mm: float | None = None
    ) -> None:
        self.name, self.setup, self.log, self.measured_mm = name, setup, log, measured_mm
        self.known: list[str] = []
        self.assumed: list[str] = []
        self._posterior = _believed(setup, log) if setup is not None and log else None

    def reading(self, name: str, nominal: float, u: float) -> Uncertain:
        """Return what is believed of a reading: the log's posterior, else the band's target, else nominal."""
        found = self.logged(name)
        if found is not None:
            return found
        band = next((b for b in self.setup.bands if b.name == name), None) if self.setup else None
        why = ""
        if band is not None:
            nominal, u = band.target_mm, (band.high_mm - band.low_mm) / 4.0
            why = f", the target of {self.name}"
        self.assumed.append(f"{name} {nominal:.3f} mm, u {u:.3f} mm{why}")
        return Uncertain(nominal, u)

    def logged(self, name: str) -> Uncertain | None:
        """Return the log's posterior of a reading at the present setting; None when nothing was read."""
        told = self._cuts_that_tell(name)
        if self._posterior is None or not told:
            return None
        size = self._posterior.size(name)
        cuts = "1 cut" if told == 1 else f"{told} cuts"
        self.known.append(f"{name} {size.expected:.3f} mm, u {size.u:.3f} mm, from {cuts} of {self.name}")
        return Uncertain(size.expected, size.u)

    def _cuts_that_tell(self, name: str) -> int:
        """Return how many cuts say something of a reading that the setup has."""
        if self.setup is None or all(band.name != name for band in self.setup.bands):
            return 0
        first = self.setup.bands[0].name
        return sum(bool(cut.readings.get(name) or (cut.feel and name == first)) for cut in self.log)

    def scatter(self, name: str) -> float:
        """Return the sd from cut to cut."""
        return 0.02 if self.setup is None else self.setup.knowledge.scale(name, "cut_sd_mm")

    def width(self, given: float | None, what: str, reading: str) -> Uncertain:
        """Return the width that the cutter cuts: given, read, measured on the cutter, or nominal."""
        if given is not None:
            self.known.append(f"{what} {given:.3f} mm, u {MEASURED_WIDTH_U_MM:.3f} mm, as given")
            return Uncertain(given, MEASURED_WIDTH_U_MM)
        logged = self.logged(reading)
        if logged is not None:
            return logged
        if self.setup is not None and self.setup.joint.passes > 1:
            return self._of_two_passes(what, reading)
        cutter = None if self.setup is None else self.setup.cutter
        if cutter is not None and self.measured_mm is not None:
            self.known.append(
                f"{what} {self.measured_mm:.3f} mm, u {MEASURED_WIDTH_U_MM:.3f} mm, cutter {cutter.name} as "
                "measured"
            )
            return Uncertain(self.measured_mm, MEASURED_WIDTH_U_MM)
        nominal = cutter.nominal_mm if cutter is not None else None
        width = nominal or USUAL_CUTTER_MM
        whose = f"the nominal width of {cutter.name}" if cutter and nominal else "a cutter nobody named"
        self.assumed.append(f"{what} {width:.3f} mm, u {NOMINAL_WIDTH_U_MM:.3f} mm, {whose}: measure a slot")
        return Uncertain(width, NOMINAL_WIDTH_U_MM)

    def _of_two_passes(self, what: str, reading: str) -> Uncertain:
        """Two passes make what the fence says, not the cutter: the band's target, if there is one."""
        assert self.setup is not None
        if all(band.name != reading for band in self.setup.bands):
            raise CalibError(
                f"{what}: {self.name} cuts it in two passes and has no reading {reading}. Give "
                "--groove-cutter with the width as measured."
            )
        return self.reading(reading, 0.0, 0.0)

    def corner(self, given_slot: float | None) -> CornerNumbers:
        """Return what is believed of a setup that cuts corners."""
        bands = {b.name: b for b in self.setup.bands} if self.setup else {}
        proud = self.reading("proud", 0.1, 0.05)
        fit = "play" if "play" in bands and "clearance" not in bands else "clearance"
        clearance, pitch = self.reading(fit, 0.07, 0.03), self.logged("pitch")
        return CornerNumbers(
            slot=self._slot(given_slot, clearance, pitch),
            clearance=clearance,
            proud=proud,
            proud_wanted=bands["proud"].target_mm if "proud" in bands else 0.1,
            clearance_scatter=self.scatter(fit),
            pitch=pitch,
            cutter=self.setup.cutter.name if self.setup else "",
        )

    def _slot(self, given: float | None, clearance: Uncertain, pitch: Uncertain | None) -> Uncertain:
        """Return the width of a slot; fingers or pitches that were read tell it: s = f + c = (p + c)/2."""
        if given is None and not self._cuts_that_tell("slot"):
            finger = self.logged("finger")
            if finger is not None:
                return Uncertain(finger.mean + clearance.mean, math.hypot(finger.sd, clearance.sd))
            if pitch is not None:
                u = math.hypot(pitch.sd, clearance.sd) / 2.0
                return Uncertain((pitch.mean + clearance.mean) / 2.0, u)
        return self.width(given, "slot", "slot")


def source(shop: Shop | None, name: str | None, kind: str) -> Source:
    """Return the source for one joint of a box; `CalibError` for a setup of another kind of joint."""
    if shop is None or name is None:
        return Source(None, None, [])
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, name)
        measured = _measured(shop.connection, bench.edge.cutter_id)
    joint = bench.setup.joint
    if joint.kind != kind:
        kinds = [f"{'an' if one == 'inlay' else 'a'} {one} joint" for one in (joint.kind, kind)]
        raise CalibError(f"setup {name} is for {kinds[0]}, not {kinds[1]}. Name another.")
    if kind == "finger" and joint.seat == "toward":
        raise CalibError(
            f"setup {name} seats toward the cutter, where the first finger is wider than the rest: boxes are "
            "laid out for seat away only. Name another."
        )
    cuts, changed = _as_last_cut(bench.log)
    found = Source(name, bench.setup, cuts, measured)
    if changed:
        found.assumed.append(f"{name} comes back to where it last cut; it was mounted or sharpened since")
    return found


def _measured(connection: sqlite3.Connection, cutter_id: int) -> float | None:
    """Return the width of a cutter as measured at its last sharpening, mm."""
    present = sharpenings.of_cutter(connection, cutter_id)[-1]
    return None if present["measured_mm"] is None else float(present["measured_mm"])


def _believed(setup: Setup, log: list[Cut]) -> Posterior:
    """Return the belief in a setup as it stands: what earlier mountings taught and shifts included."""
    carried, rows = through(setup, log)
    return watched(setup, rows, carried=carried)[0]


def _as_last_cut(log: list[Cut]) -> tuple[list[Cut], bool]:
    """Leave out that the setup stands on another mounting or edge now: it is set before good stock is cut."""
    made = [cut for cut in log if cut.pieces]
    if not made or log[-1].pieces:
        return log, False
    changed = (made[-1].mounting, made[-1].sharpening) != (log[-1].mounting, log[-1].sharpening)
    return (log[:-1], True) if changed else (log, False)
