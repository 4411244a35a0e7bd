"""What is told of a paste: the lines that decide, what speaks against it, and what to ask for."""

from __future__ import annotations

from radiocheck.chain.verdict import PasteSaid, Quote

from .layout import Look, cut, verbatim, wrap

NOTHING = (
    "Nothing in this text was recognised as the output of a program that tells of USB, serial ports or VMs. "
    "Ask for the output of these commands, on the machine that the adapter is plugged into:"
)
ASSUMED = {
    "native": "The adapter is taken to be used on the machine itself and not in a VM; ask if that is not sure.",
    "guest": "The output is taken to be made inside the VM that has the adapter; ask if that is not sure.",
}


def quoted(said: PasteSaid, look: Look) -> list[str]:
    """The lines that say so, what speaks against it, and the commands that would settle it."""
    lines: list[str] = []
    if said.decisive:
        lines += ["", look.paint("The lines of the paste that say so", "bold"), *_quotes(said.decisive, look)]
    if said.against or said.but:
        lines += ["", look.paint("What speaks against it, or else it could be", "bold"), *_quotes(said.against, look)]
        for one in said.but:
            lines += wrap(one, look.width, "  - ", "    ")
    if said.ask:
        how = "To settle it, ask for the output of" if said.recognised else NOTHING
        lines += ["", *look.paint_all(wrap(how, look.width), "bold"), *_commands(said.ask)]
    return lines


def counted(said: PasteSaid, look: Look) -> list[str]:
    """How much of it was understood, and what was taken for granted."""
    words = f"Read from a paste: {said.read} of its {said.lines} lines said something; the rest was ignored."
    return wrap(" ".join([words, *(ASSUMED[one] for one in said.assumed if one in ASSUMED)]), look.width, "", "  ")


def _quotes(quotes: list[Quote], look: Look) -> list[str]:
    width = max((len(str(one.line)) for one in quotes), default=1)
    return [cut(f"  {one.line:>{width}}  {one.text}", look.width, look.ascii) for one in quotes]


def _commands(commands: list[str]) -> list[str]:
    return [line for one in commands for line in verbatim(one, 4)]
