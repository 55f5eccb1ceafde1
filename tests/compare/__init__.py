"""Tests of corrosion.compare."""
