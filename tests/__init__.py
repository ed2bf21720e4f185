"""The tests. They compute on one thread, as the program does: several of them run side by side."""

import os

from receiver_sim import one_thread

one_thread.ask_for_one(os.environ)
