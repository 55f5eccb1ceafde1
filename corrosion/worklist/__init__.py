"""The work list: bench cards in the order of work, a printable PDF of them, and their JSON.

A planning aid: approved data govern, and a licensed person releases the work.
"""

from corrosion.worklist.cards import Card, CardKind, Place, Target, build_cards
from corrosion.worklist.form import worklist_json
from corrosion.worklist.practice import Fact, StepName
from corrosion.worklist.steps import Step

__all__ = [
    "Card",
    "CardKind",
    "Fact",
    "Place",
    "Step",
    "StepName",
    "Target",
    "build_cards",
    "worklist_json",
]
