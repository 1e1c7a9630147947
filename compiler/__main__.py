"""``python -m meltwright``."""

import sys

from .cli import main

sys.exit(main())
