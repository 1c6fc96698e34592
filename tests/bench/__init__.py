"""How fast, how much memory, how it grows: `python -m tests.bench` prints a table of ratios."""
