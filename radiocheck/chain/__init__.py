"""What it means: from evidence to a view per adapter, findings, steps and a verdict.

Nothing here touches a machine: the same evidence gives the same verdict anywhere.
"""
