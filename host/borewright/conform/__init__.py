"""The conformance suite: what PROTOCOL.md and interlock.toml demand of a device, tried on one.

Pure of ports, clocks and threads: it is given an endpoint that has read, write and a monotonic clock, so that it runs in virtual
time in memory as well as on a real line. `suite.run_suite` tries, `verdict` is what came of it.
"""
