"""The study file: the only SQL in the project."""
