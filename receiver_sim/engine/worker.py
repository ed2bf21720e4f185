"""A worker process: requests come in on its standard input, replies go out on its first standard output.

Started by `process.WorkerProcess`, never by hand. It imports nothing but ngspice's binding, least of all the
caller's script, so it behaves alike under scripts, notebooks and test runners.
"""

import gc
import os
import pickle
import signal
import sys
import threading
import time
from typing import Any, BinaryIO

from receiver_sim.engine.protocol import Failed, Ready

_WATCH_S = 1.0
_GRACE_S = 5.0


class _Watch(threading.Thread):
    """Ends this process when its parent is gone, or has not ended it though a request ran far too long.

    ngspice cannot be interrupted, so the main thread may be deaf for good. On Windows the parent's
    number never changes; there only the time limit holds.
    """

    def __init__(self, limit_s: float) -> None:
        super().__init__(daemon=True)
        self._limit_s = limit_s
        self._parent = os.getppid()
        self.busy_since: float | None = None

    def run(self) -> None:
        while True:
            time.sleep(_WATCH_S)
            since = self.busy_since
            late = since is not None and time.monotonic() - since > self._limit_s + _GRACE_S
            if late or os.getppid() != self._parent:
                os._exit(3)


def _private_streams() -> tuple[BinaryIO, BinaryIO]:
    """Take the pipes for ourselves and leave nothing for ngspice to print into or read from."""
    requests = os.fdopen(os.dup(0), "rb")
    replies = os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, 0)
    os.dup2(nothing, 1)
    os.close(nothing)
    return requests, replies


def _send(replies: BinaryIO, reply: Any) -> None:
    pickle.dump(reply, replies, protocol=pickle.HIGHEST_PROTOCOL)
    replies.flush()


def main(limit_s: float) -> None:
    """Serve requests until the other side closes the pipe. `limit_s`: wall-clock limit of one request."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle; it ends its workers
    requests, replies = _private_streams()
    gc.disable()  # what is loaded stays: no looking through it while it comes, nor later
    watch = _Watch(limit_s)
    watch.start()
    from receiver_sim.engine.errors import EngineMissing  # noqa: PLC0415 - after the streams are ours

    try:
        from receiver_sim.engine.simulator import Simulator  # noqa: PLC0415 - loads PySpice

        simulator = Simulator()
    except EngineMissing as missing:
        _send(replies, Failed(str(missing), missing=True))
        return
    except Exception as error:
        _send(replies, Failed(f"the ngspice library did not start: {error!r}", missing=True))
        return
    gc.freeze()
    gc.enable()
    _send(replies, Ready(simulator.version, simulator.path))
    while True:
        try:
            request = pickle.load(requests)
        except (EOFError, OSError):
            break
        watch.busy_since = time.monotonic()
        reply = simulator.handle(request)
        watch.busy_since = None
        _send(replies, reply)
    sys.stderr.flush()
    os._exit(0)  # ngspice's own clean-up at exit is not worth waiting for
