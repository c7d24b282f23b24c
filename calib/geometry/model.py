"""What a joint's geometry tells the statistics: expected readings and how they follow the adjusters.

Every joint here is affine within a seat, so nominal values at one set of positions, and slopes, are all
there is to know.

Symbols: nominal = the reading that geometry expects at the reference settings; slope = mm of reading per
mm of setting; recession = how far the cutting edge has worn back, radially.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class JointModel:
    """The affine model of one setup, around its reference settings.

    Parameters
    ----------
    nominal_mm : mapping of reading name to mm
        Expected reading at the reference settings.
    slopes : mapping of reading name to mapping of adjuster name to float or None, mm per mm
        None = to be learned; 0.0 = no effect. Every reading names every adjuster.
    recession_slopes : mapping of reading name to float, mm per mm
        Change of the reading per mm of radial recession of the cutting edge.
    from_geometry : frozenset of str
        Readings whose nominal comes from geometry; for the others positions are only relative, and the
        nominal is the band's target.
    follows : mapping of reading name to reading name
        A reading that has the offset of another one, geometry's difference apart: their nominal values
        differ by it. What geometry does not tell of the difference is learned.
    """

    nominal_mm: Mapping[str, float]
    slopes: Mapping[str, Mapping[str, float | None]]
    recession_slopes: Mapping[str, float]
    from_geometry: frozenset[str] = frozenset()
    follows: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Known:
    """What geometry knows of one reading.

    Parameters
    ----------
    nominal_mm : float, mm
        NaN when something it rests on is not known (no scale, no nominal cutter, no thickness).
    slopes : mapping of the geometry's adjuster to float, mm per mm
        An adjuster that is not named has no effect.
    recession_slope : float, mm per mm
    """

    nominal_mm: float
    slopes: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    recession_slope: float = 0.0
