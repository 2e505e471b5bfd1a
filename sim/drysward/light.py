"""First import of a worker process, which makes it start fast and use little memory."""

import signal

from drysward.loading import collect_rarely, skip_unneeded

# Ctrl-C reaches the worker too; its parent reports what was written and ends both.
signal.signal(signal.SIGINT, signal.SIG_IGN)
collect_rarely()
skip_unneeded()
