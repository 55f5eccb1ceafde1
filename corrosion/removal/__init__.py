"""Thickness removed: the sum over entries and faces, against the limit (design.md section 4)."""

from corrosion.removal.entries import Entry, EntryList, collect_entries
from corrosion.removal.member import MemberRemoval, RemovalField
from corrosion.removal.summary import MemberResult, assess_member

__all__ = [
    "Entry",
    "EntryList",
    "MemberRemoval",
    "MemberResult",
    "RemovalField",
    "assess_member",
    "collect_entries",
]
