"""calib: the test-cut and setup service for a maker's workshop.

>>> from calib import advise, load_log
>>> setup, cuts = load_log("sample_logs/chest-corners.toml")
>>> advise(setup, cuts).as_dict()["schema"]
'calib.advice/1'

Importing this package loads nothing heavy; the two functions are fetched when they are asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.decision.advise import advise
    from calib.logfile import load_log

__version__ = "0.1.0"
__all__ = ["__version__", "advise", "load_log"]


def __getattr__(name: str) -> Any:
    if name == "advise":
        from calib.decision.advise import advise

        return advise
    if name == "load_log":
        from calib.logfile import load_log

        return load_log
    raise AttributeError(f"module 'calib' has no attribute {name!r}")
