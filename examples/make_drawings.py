"""Make every drawing of this folder again, and the notebooks: what a change of figures makes stale.

``python examples/make_drawings.py`` writes the gallery and ``pilchard.svg``, the README's figure,
and then the notebooks; ``--no-notebooks`` leaves these out. Tests say when one is stale. Look at
what changed before it is kept.
"""

from __future__ import annotations

import runpy
import subprocess
import sys
from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture

FOLDER = Path(__file__).resolve().parent
#: Scripts that are no examples of the gallery.
APART = ("invented", "make_drawings", "make_example_records")


def pilchard() -> TrendPicture:
    """Return the figure of the README, as its own command line draws it."""
    return answered_picture(bpvet.fit_trend(records(), "A17"))


def main(arguments: list[str]) -> None:
    """Make the drawings, and the notebooks unless they are left out."""
    save(pilchard(), FOLDER / "pilchard.svg")
    for path in sorted(FOLDER.glob("*.py")):
        if path.stem not in APART:
            save(runpy.run_path(str(path))["picture"](), path.with_suffix(".svg"))
            print(f"{path.stem}.svg")
    if "--no-notebooks" not in arguments:
        making = FOLDER.parent / "notebooks" / "make_notebooks.py"
        subprocess.run([sys.executable, str(making)], check=True)


if __name__ == "__main__":
    main(sys.argv[1:])
