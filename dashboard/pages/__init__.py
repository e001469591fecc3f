"""Pages, one per job of the trade."""
