"""radiocheck: reads the whole path of a USB radio adapter into a virtual machine
and names the step that is broken."""

__version__ = "0.1.0"
