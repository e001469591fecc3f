"""Parts of the page Plan."""
