"""Corrosion survey mapper: from inspection photos to thickness removed against a blend limit.

This package computes; it knows nothing of storage or the web (see `api`).
"""

__version__ = "0.1.0"
