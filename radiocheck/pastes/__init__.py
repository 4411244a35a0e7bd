"""WHAT PEOPLE PASTE: text of other programs, read as partial evidence."""
