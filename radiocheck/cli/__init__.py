"""The commands: parse, call, render.  Only this package prints and exits."""
