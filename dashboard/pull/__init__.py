"""Parts of the page Pull."""
