"""One file per program whose output is recognised; found by its place."""
