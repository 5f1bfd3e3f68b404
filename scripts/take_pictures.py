"""Take the README's picture anew: ``PYTHONPATH=. .venv/bin/python scripts/take_pictures.py``."""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from tests.pages.photograph import photograph

__all__ = ["main"]

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"


def main() -> None:
    """Run the demonstration, photograph its report, keep the file small."""
    with tempfile.TemporaryDirectory() as folder:
        page, raw = Path(folder) / "demo.html", Path(folder) / "demo.png"
        bellmouth = Path(sys.executable).with_name("bellmouth")
        subprocess.run([bellmouth, "demo", "--report", page], check=True, capture_output=True)  # noqa: S603
        photograph(page, raw, width=1100, height=1700)
        few_colours = Image.open(raw).convert("RGB").quantize(128)
        few_colours.save(PICTURES / "report.png", optimize=True)


if __name__ == "__main__":
    main()
