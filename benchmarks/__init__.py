"""What is claimed about speed and memory, each claim a command that prints a ratio."""
