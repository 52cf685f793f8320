"""Which traces are one ride and which one way: passes, clocks, copies, and each recording by itself."""
