"""The parent's end of a worker process."""

import os
import pickle
import subprocess
import sys
import tempfile
import threading
import time
from typing import Any

from receiver_sim import one_thread
from receiver_sim.engine.errors import EngineError, EngineMissing
from receiver_sim.engine.protocol import Failed, Ready, Reply, Request

# The child gets this process's import path, so that it finds the same packages; nothing else of the caller.
# Nothing is imported before the path is set: the folder at hand may be a stranger's.
_BOOT = (
    "import sys; limit = float(sys.argv[1]); sys.path[:] = sys.argv[2:]; "
    "from receiver_sim.engine.worker import main; main(limit)"
)

# A cold disk may take its time over the first import.
_START_LIMIT_S = 60.0


class WorkerGone(Exception):  # noqa: N818 - says what happened
    """The worker ended without an answer. `timed_out` says that the time limit was the reason."""

    def __init__(self, reason: str, timed_out: bool = False) -> None:
        self.timed_out = timed_out
        super().__init__(reason)


class WorkerProcess:
    """One child process with its own ngspice. Used by one thread at a time; `kill` may come from any."""

    def __init__(self, time_limit_s: float) -> None:
        if not sys.executable:
            raise EngineError("this Python does not know its own executable, so no worker can be started")
        self.time_limit_s = time_limit_s
        self.start_limit_s = max(time_limit_s, _START_LIMIT_S)
        self.deadline: float | None = None
        self.timed_out = False
        self.busy = False
        self._lock = threading.Lock()
        flags = getattr(subprocess, "CREATE_NO_WINDOW", 0)
        try:
            # Paths relative to the folder at hand would be lost if the caller changes it.
            path = [os.path.abspath(entry) for entry in sys.path]
            environment = dict(os.environ)
            one_thread.ask_for_one(environment)
            self._stderr = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the process
            self._process = subprocess.Popen(
                [sys.executable, "-c", _BOOT, repr(float(time_limit_s)), *path],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._stderr,
                env=environment,
                creationflags=flags,
            )
        except OSError as error:
            raise EngineError(f"no ngspice process could be started: {error}") from error
        self.version = 0
        self.library = ""

    @property
    def pid(self) -> int:
        """The child's process id."""
        return self._process.pid

    def start(self) -> None:
        """Wait until ngspice is loaded. Raises EngineMissing or WorkerGone."""
        reply = self._exchange(None, self.start_limit_s)
        if isinstance(reply, Ready):
            self.version, self.library = reply.version, reply.library
            return
        self.kill()
        raise EngineMissing(reply.reason if isinstance(reply, Failed) else f"unexpected answer {reply!r}")

    def ask(self, request: Request) -> Reply:
        """Send a request and wait for its reply. Raises WorkerGone."""
        reply: Reply = self._exchange(request, self.time_limit_s)
        return reply

    def _exchange(self, request: Request | None, limit_s: float) -> Any:
        process = self._process
        assert process.stdin is not None and process.stdout is not None
        self.busy = True
        self.deadline = time.monotonic() + limit_s
        try:
            if request is not None:
                pickle.dump(request, process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
                process.stdin.flush()
            reply = pickle.load(process.stdout)
        except (EOFError, OSError, ValueError, pickle.UnpicklingError) as error:
            self.kill()
            raise WorkerGone(self._last_words(), self.timed_out) from error
        finally:
            self.deadline = None
        self.busy = False
        return reply

    def _last_words(self) -> str:
        code = self._process.poll()
        try:
            self._stderr.seek(0)
            said = self._stderr.read().decode("utf-8", "replace").strip().splitlines()
        except (OSError, ValueError):
            said = []
        return f"the ngspice process ended with code {code}" + (f": {said[-1]}" if said else "")

    @property
    def alive(self) -> bool:
        """Whether the child runs."""
        return self._process.poll() is None

    def kill(self) -> None:
        """End the child at once and reap it. May be called more than once."""
        with self._lock:
            process = self._process
            if process.poll() is None:
                process.kill()
            process.wait()

    def close(self) -> None:
        """End the child and give back what it held."""
        self.kill()
        for stream in (self._process.stdin, self._process.stdout, self._stderr):
            try:
                if stream is not None:
                    stream.close()
            except OSError:  # a request that could not be flushed to a dead child
                pass
