"""Printed targets: their layouts, and sheets to print."""

from corrosion.target.layouts import CHECK_BAR_MM, SHEETS, Block, Marker, Sheet, sheet_named

__all__ = ["CHECK_BAR_MM", "SHEETS", "Block", "Marker", "Sheet", "sheet_named"]
