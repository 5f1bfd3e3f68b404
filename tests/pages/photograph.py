"""Take a picture of a page with a real browser, as a telephone and as a desk would show it."""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
from PIL import Image

__all__ = ["brightness", "browser", "measured", "photograph"]


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


def brightness(page: Path, folder: Path, width: int, *, dark: bool) -> tuple[float, float]:
    """Mean and spread of a page's brightness as it is shown, 0 to 255."""
    picture = folder / f"{dark}.png"
    photograph(page, picture, width=width, height=900, dark=dark)
    shown = np.asarray(Image.open(picture).convert("L"))[:, :width]
    return float(shown.mean()), float(shown.std())


def measured(page: Path, folder: Path, width: int, script: str) -> str:
    """The title that a script gives a copy of a page: a page itself allows no script."""
    text = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text("utf-8"))
    copy = folder / "measured.html"
    copy.write_text(text.replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    ran = subprocess.run(
        [
            str(browser()), "--headless=new", "--no-sandbox", "--disable-gpu", "--dump-dom",
            f"--user-data-dir={folder / 'profile'}", f"--window-size={max(width, 500)},900",
            copy.as_uri(),
        ],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    found = re.search(r"<title>(.*?)</title>", ran.stdout)
    assert found is not None
    return found[1]
