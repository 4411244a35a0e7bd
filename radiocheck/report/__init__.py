"""How it is told: the same report as text, as JSON and as rule pages.

Nothing here touches a machine or judges.  Everything that a device, a log or a
configuration said is escaped before it is shown.
"""
