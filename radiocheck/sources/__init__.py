"""How it is seen: one file per subject.

A source is a module here with `collect(machine) -> Seen`.  It is found by its place.
It knows the machine and the evidence records, never another source and never a rule.
It raises nothing for what a machine may do to it: what it could not see is a `Gap`.
"""
