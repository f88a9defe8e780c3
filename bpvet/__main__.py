"""``python -m bpvet``: the command line."""

import os
import sys

# Python looks for modules in the current folder then, and what lies there is data.
if not sys.flags.safe_path and sys.path and sys.path[0] in ("", os.getcwd()):
    del sys.path[0]

from bpvet.command.main import main

if __name__ == "__main__":
    sys.exit(main())
