"""The reference firmware, as a child process, in closed loop with the simulator's plant: a tool of this repository, in no wheel."""
