"""`python -m pullbook` is `pullbook`."""

import sys

from pullbook.cli import main

sys.exit(main())
