"""What people and programs read of an assessment: JSON, tables, the removal map.

Nothing here computes; it rounds, words and draws what `corrosion.results` holds. The map is imported
from `corrosion.report.map` where it is wanted, so that a table does not load a drawing library.
"""

from corrosion.report.json_form import json_of, measures_json

__all__ = ["json_of", "measures_json"]
