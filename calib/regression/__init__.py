"""The posterior of a setup, and straight-line calibration.

Public: `posterior`, `Posterior`, `fit_line`. Nothing heavy is loaded until `fit_line` is called.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from calib.regression.infer import Posterior, posterior

if TYPE_CHECKING:
    from calib.regression.line import fit_line

__all__ = ["Posterior", "fit_line", "posterior"]


def __getattr__(name: str) -> Any:
    if name == "fit_line":
        from calib.regression.line import fit_line

        return fit_line
    raise AttributeError(f"module 'calib.regression' has no attribute {name!r}")
