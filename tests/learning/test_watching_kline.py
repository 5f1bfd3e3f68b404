"""A car on a K line is followed live as one on CAN is: over a pseudo-terminal."""

from bellmouth.bus.opening import open_client
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.ignition import Key
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.wires import WireChoice, serve


def test_pedal_and_engine_are_watched_on_a_k_line() -> None:
    car = PracticeCar("healthy", seed=1)
    car.do("key", Key.ON)
    served = serve(car, WireChoice(kline=True))
    try:
        with car.keep_up(), open_client("kline", served.channel) as client:
            observer = CarObserver(client)
            assert {"key", "engine"} <= observer.watched
            assert "engine_speed" in observer.look()
    finally:
        served.close()
        car.close()
