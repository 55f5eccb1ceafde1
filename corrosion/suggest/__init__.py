"""Suggested outlines: pits by one click or one sweep, blends by texture.

A suggestion is never a mark: a person accepts, edits or drops each. Method, parameters, score and the
doubt about the edge travel with it.
"""

from corrosion.suggest._blend import outline_blend
from corrosion.suggest._pit import outline_pit
from corrosion.suggest._suggestion import Suggestion, likeness
from corrosion.suggest._sweep import sweep_pits

__all__ = ["Suggestion", "likeness", "outline_blend", "outline_pit", "sweep_pits"]
