"""What people order reaches the measuring thread, whoever orders it and whatever that thread is in."""

import os
import signal
import subprocess
import sys
import threading

import pytest

from sweeper.daemon.run.orders import Orders


def test_an_order_wakes_until_it_is_heeded_and_a_stop_for_good() -> None:
    orders = Orders()
    assert orders.pause() and orders.paused and orders.wake.is_set()
    assert not orders.pause()
    orders.heed()
    assert not orders.wake.is_set() and orders.paused
    assert orders.resume() and orders.wake.is_set()
    assert not orders.resume()
    orders.stop()
    orders.heed()
    assert orders.wake.is_set() and orders.stopping


def test_who_asks_to_stop_again_gives_no_new_grace() -> None:
    orders = Orders()
    orders.stop()
    given_s = orders.wake.given_s
    orders.stop()
    assert orders.wake.given_s == given_s


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_stops_a_thread_that_does_nothing_but_wait_and_look(how: signal.Signals) -> None:
    """A handler that set the event itself would sooner or later wait for a lock that the waiting thread holds."""
    program = (
        "import sys\n"
        "from sweeper.daemon.run.orders import Orders, stop_on_signals\n"
        "orders = Orders()\n"
        "stop_on_signals(orders)\n"
        "print('ready', flush=True)\n"
        "while not orders.stopping:\n"
        "    orders.wake.wait(0.0001)\n"
        "print('stopped', flush=True)\n"
        "sys.stdin.read()\n"  # an interpreter that ends takes the last signals as if it had no handler
    )
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None and process.stdout.readline() == "ready\n"
        for _ in range(20):
            os.kill(process.pid, how)
        out, _ = process.communicate(timeout=30)
        assert out == "stopped\n" and process.returncode == 0


def test_orders_from_many_threads_lose_nothing() -> None:
    orders = Orders()
    changed: list[bool] = []

    def flip() -> None:
        for _ in range(500):
            changed.append(orders.pause())
            changed.append(orders.resume())

    threads = [threading.Thread(target=flip) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not orders.paused
    assert sum(changed) % 2 == 0
