"""`python -m pullbook`, and the `pullbook` command."""

import gc
import sys

gc.disable()  # nothing is garbage while modules load; `serving` lets the collector go on

from pullbook.cli import main  # noqa: E402

if __name__ == "__main__":
    sys.exit(main())
