"""When the coach's tones sound in a browser slowed down, found in the samples themselves."""

import numpy as np
from playwright.sync_api import Browser

from measure.page_browser import slow_tab
from measure.page_served import Served
from tests.pages.site.served import until
from tests.pages.site.test_coach_browser import LISTEN, PROCEDURE

__all__ = ["cue_errors_ms"]


def cue_errors_ms(
    program: Browser, served: Served, seconds: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How far each tone was from the plan, on the audio clock; as large as can be where none was
    heard within a second. [s], [ms]
    """
    car = f"{served.address}{served.car('Coached')}"
    with slow_tab(program, LISTEN) as (page, _):
        page.goto(f"{car}/learning/{PROCEDURE}")
        page.get_by_label("I have checked this").check()
        page.get_by_role("button", name="Coach me").click()
        page.wait_for_selector("[data-ready=yes]")
        page.get_by_role("button", name="Sound check").click()
        until(page, "window.tap && window.coachSound")
        page.get_by_role("button", name="Start").click()
        page.wait_for_timeout(1000 * seconds)
        now, log, onsets, early = page.evaluate(
            "({clock, sound}) =>"
            " [clock.context.currentTime, sound.log, window.onsets, sound.early]",
            page.evaluate_handle("window.coachSound"),
        )
        page.get_by_role("button", name="STOP").click()
    heard = np.array(onsets)
    planned = [one["when"] - early for one in log if one["at"] < now - 0.5]
    nearest = [float(np.abs(heard - when).min()) for when in planned]
    return 1000.0 * np.array(nearest)
