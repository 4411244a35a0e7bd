"""The bench: a machine with real faults, booted under software emulation."""
