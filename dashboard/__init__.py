"""The dashboard: pages over the same use cases as the command line; no statistics, no SQL."""
