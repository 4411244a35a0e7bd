"""What was seen: immutable records with three kinds of field.

*absent* (`UNSET`): could not look, a gap says why.  *null* (`None`): looked, there
is none.  *value*: seen.  A list is complete or absent.  Nothing in this package
touches the machine, and nothing here judges.
"""
