"""Nouns drawn and tabulated: no statistics, no SQL."""
