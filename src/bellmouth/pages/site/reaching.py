"""How the car is reached from a form, by whoever asks it something and is gone again."""

from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.live import Adapter

__all__ = ["adapter_for"]


def adapter_for(
    garage: Garage, key: str, interface: str, channel: str, bitrate: int | None, *, off: bool
) -> Adapter:
    """The adapter that a form names, or the practice car's, where nothing else talks to it.

    A practice car's key is on then; ``off`` stops its engine first, which nobody can do for a real
    one. [bit/s]

    Raises
    ------
    BellmouthError
        If the car is being recorded or coached, or no adapter is named.
    """
    garage.refuse_busy(key)
    practice = garage.practice(key)
    if practice is None:
        return garage.named(key, interface, channel, bitrate)
    if off:
        practice.sit_down()
    else:
        practice.key_on()
    return practice.adapter
