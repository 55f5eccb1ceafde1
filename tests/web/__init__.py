"""The pages' pure modules, against the same cases as the Python side."""
