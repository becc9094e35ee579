"""The commands. Each imports what it needs when it runs, so that help comes at once."""

from measure_app.cli import classwork, comparing, measuring, planning, schemas, window
from measure_app.cli.group import clepsydra as commands

__all__ = ["commands"]

for _each in (
    measuring.measure,
    measuring.derive,
    measuring.check,
    classwork.pack,
    classwork.unpack,
    classwork.collate,
    planning.plan,
    comparing.compare,
    schemas.schema,
    window.open_,
):
    commands.add_command(_each)
