"""Imported first of all by a process that works for another, which it makes as light."""

import signal

from drysward.loading import collect_seldom, leave_unloaded

# Ctrl-C reaches it too; the process that it works for says what is kept and ends both.
signal.signal(signal.SIGINT, signal.SIG_IGN)
collect_seldom()
leave_unloaded()
