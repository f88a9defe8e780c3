"""``python -m bpvet``: the command line."""

import sys

from bpvet.command.main import main

if __name__ == "__main__":
    sys.exit(main())
