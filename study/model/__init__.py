"""The nouns of the trade, frozen: no files, no database, no clock."""
