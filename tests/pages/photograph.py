"""Take a picture of a page with a real browser, as a telephone and as a desk would show it."""

import shutil
import subprocess
from pathlib import Path

__all__ = ["browser", "photograph"]


def browser() -> str | None:
    """Where Chromium is, or ``None``."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def photograph(
    page: Path, picture: Path, *, width: int = 1280, height: int = 2400, dark: bool = False
) -> None:
    """Write a PNG of ``page`` at ``width`` by ``height`` CSS pixels."""
    found = browser()
    if found is None:
        raise FileNotFoundError("no Chromium on this machine")
    # A headless window is never narrower than 500 pixels, so a telephone is a frame inside one.
    frame = picture.with_suffix(".frame.html")
    frame.write_text(
        f'<body style="margin:0"><iframe src="{page.as_uri()}" style="border:0;'
        f'width:{width}px;height:{height}px"></iframe>',
        encoding="utf-8",
    )
    subprocess.run(
        [
            found, "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
            f"--user-data-dir={picture.parent / 'profile'}",
            *(["--force-dark-mode", "--blink-settings=preferredColorScheme=0"] if dark
              else ["--blink-settings=preferredColorScheme=1"]),
            f"--window-size={max(width, 500)},{height}", f"--screenshot={picture}", frame.as_uri(),
        ],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
