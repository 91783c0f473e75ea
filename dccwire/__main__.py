"""`python -m dccwire` is the command `dccwire`."""

import sys

from dccwire.cli import main

sys.exit(main())
