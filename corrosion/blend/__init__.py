"""Blend plans: before any metal is touched, and held against the work afterwards."""

from corrosion.blend.alternatives import Alternative, compare_alternatives
from corrosion.blend.done import DoneBlend, SlopeCheck, check_slopes, compare_done
from corrosion.blend.plan import plan_member
from corrosion.blend.results import (
    Conflict,
    ConflictKind,
    MemberPlan,
    PlannedBlend,
    Site,
    ratio_words,
)

__all__ = [
    "Alternative",
    "Conflict",
    "ConflictKind",
    "DoneBlend",
    "MemberPlan",
    "PlannedBlend",
    "Site",
    "SlopeCheck",
    "check_slopes",
    "compare_alternatives",
    "compare_done",
    "plan_member",
    "ratio_words",
]
