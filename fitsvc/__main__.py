"""`python -m fitsvc`."""

import sys

from fitsvc.cli import main

sys.exit(main())
