"""`python -m audit` is `door-audit`."""

import sys

from audit.cli import main

if __name__ == "__main__":
    sys.exit(main())
