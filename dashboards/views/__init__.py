"""Pages: selection, result, figure, wording."""
