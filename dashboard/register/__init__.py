"""Parts of the page Register."""
