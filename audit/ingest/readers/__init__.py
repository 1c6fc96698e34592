"""One module a file format: a file becomes tables of text with row numbers, nothing more."""
