"""The record of a survey as people file it: who signed and sealed, and the report as a PDF.

The report is imported from `corrosion.record.pdf`, so that reading facts loads no typesetter.
"""

from corrosion.record.facts import (
    Cited,
    HistoryHead,
    RecordFacts,
    Seal,
    Signature,
    facts_from_json,
    facts_json,
)

__all__ = [
    "Cited",
    "HistoryHead",
    "RecordFacts",
    "Seal",
    "Signature",
    "facts_from_json",
    "facts_json",
]
