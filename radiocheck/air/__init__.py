"""The radio side of a house as a person writes it down: `air.yaml` to records.  No I/O."""
