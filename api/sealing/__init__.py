"""Signatures, seals and revisions: a sealed survey does not change any more."""
