"""Imported first of all by a process that works for another, which it makes as light."""

from drysward.loading import collect_seldom, leave_unloaded

collect_seldom()
leave_unloaded()
