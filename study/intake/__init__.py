"""Outside text and files, read into nouns, with every problem and its place."""
