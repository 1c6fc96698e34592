"""`python -m demo_data` writes the committed site and its answer key again."""

from datetime import date
from pathlib import Path

from . import write

AS_OF = date(2026, 9, 30)

if __name__ == "__main__":
    write(Path(__file__).with_name("site"), as_of=AS_OF)
