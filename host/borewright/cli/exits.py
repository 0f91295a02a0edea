"""The exit codes, alike for every command."""

from __future__ import annotations

__all__ = ["HELP", "INTERRUPTED", "NOT_READY", "OK", "OUTPUT", "RECORD", "RIG", "UNUSABLE", "USE"]

OK = 0
UNUSABLE = 1
USE = 2
RIG = 3
RECORD = 4
NOT_READY = 5
OUTPUT = 6
INTERRUPTED = 130

HELP = """exit codes:
  0    done
  1    done, but the result is no good: a void test, a check that did not pass
  2    the command or one of its files is wrong
  3    no rig, not this kind of rig, or the link was lost
  4    the record file cannot be used
  5    not ready for air, or ended before there was a result
  6    what the command prints cannot be written; a rig with valves has been told to shut and vent
  130  stopped with Ctrl-C; a rig with valves has been told to shut and vent"""
