"""What a setup's gauges are worth, put into the words of its knowledge."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

from calib.shop import Scales, Setup


def worth_as_knowledge(setup: Setup) -> Setup:
    """Return the setup with what its gauges are worth put into the knowledge of each reading.

    For where readings are drawn or written without their gauges: a rehearsal, a log's files. The errors
    that readings share become one zero error for each reading; that two readings share it is lost.

    >>> from calib.shop import Adjuster, Band, Joint, Worth
    >>> setup = Setup("s", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (Adjuster("key"),),
    ...               worth={"clearance": Worth(0.01, {"c, zero": (-2.0, 0.02)})})
    >>> worth_as_knowledge(setup).knowledge.of["clearance"].zero_sd_mm
    0.04
    """
    of = dict(setup.knowledge.of)
    for name, own in setup.worth.items():
        sds = {"reading_sd_mm": own.repeat_sd_mm, "zero_sd_mm": own.shared_sd_mm}
        of[name] = replace(of.get(name, Scales()), **sds)
    known = replace(setup.knowledge, of=MappingProxyType(of))
    return replace(setup, knowledge=known, worth=MappingProxyType({}))
