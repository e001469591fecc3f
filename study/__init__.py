"""Dwellbook's study: from the plan of a dwell study to the maximum display duration it supports."""

__version__ = "0.1.0"
