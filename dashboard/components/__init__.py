"""Pieces that pages share: the graph frame, the ribbon row, forms, messages."""
