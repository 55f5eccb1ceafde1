"""Repair versus replacement: it informs whoever decides, and never says airworthy."""

from corrosion.decision.compare import decide
from corrosion.decision.hidden import UnseenFace, hidden_over_limit, unseen_depths, unseen_faces
from corrosion.decision.pert import pert_mean, pert_quantile, pert_shape, pert_variance
from corrosion.decision.results import (
    CAUTION,
    BreakEven,
    Comparison,
    DecisionResult,
    Driver,
    Measurement,
    OptionResult,
    Share,
    Spread5,
    Totals,
)

__all__ = [
    "CAUTION",
    "BreakEven",
    "Comparison",
    "DecisionResult",
    "Driver",
    "Measurement",
    "OptionResult",
    "Share",
    "Spread5",
    "Totals",
    "UnseenFace",
    "decide",
    "hidden_over_limit",
    "pert_mean",
    "pert_quantile",
    "pert_shape",
    "pert_variance",
    "unseen_depths",
    "unseen_faces",
]
