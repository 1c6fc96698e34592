"""The report pack: one module a format, each a function of the record."""
