"""A master that forks while it keeps a worker, as gunicorn's does. Says `renewed` for each new worker, then `stopped`.

python -m tests.shopfloor.keeper_process ROUNDS
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import time

from shopfloor import keeper as keeper_module
from shopfloor.keeper import Keeper

SOON = 10.0
FORKS_A_ROUND = 20


def main(rounds: int) -> None:
    keeper_module.PAUSE_SECONDS = keeper_module.LONGEST_PAUSE_SECONDS = 0.01
    children: list[int] = []
    keeper = Keeper(logging.getLogger("keeper"), ("/bin/sleep", "30"))
    keeper.start()
    try:
        seen = None
        for number in range(1, rounds + 1):
            end = time.monotonic() + SOON
            while keeper._pid in (None, seen):
                if time.monotonic() > end:
                    sys.exit("no new worker")
                if len(children) < number * FORKS_A_ROUND:
                    children.append(fork())
                time.sleep(0.001)
            seen = keeper._pid
            print("renewed", flush=True)
            keeper.renew()
        keeper.stop()
        print("stopped", flush=True)
    finally:
        for child in children:
            os.kill(child, signal.SIGKILL)


def fork() -> int:
    """A child that holds on to all that was open at that moment, as long as its parent lives."""
    parent = os.getpid()
    child = os.fork()
    if child == 0:
        while os.getppid() == parent:
            time.sleep(0.2)
        os._exit(0)
    return child


if __name__ == "__main__":
    main(int(sys.argv[1]))
