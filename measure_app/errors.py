"""The errors that a person can be told about.

AppError
├── ClipError        a film that cannot be opened, or a frame that cannot be had
│   └── ClipClosed   a clip used after it was closed
├── RunFileError     a run file that breaks the contract
├── EditRefused      a change that would leave the run breaking the contract
├── TableError       a table of measurements that cannot be read
├── FindingsError    a result of one run that cannot be compared with others
├── PlanRefused      a planned experiment that no bench can have
├── SetupIncomplete  a run that lacks what the work asked for needs
├── Stopped          long work that the user stopped
└── OutputError      results that could not be written
"""

from __future__ import annotations


def one_line(text: str) -> str:
    """Return text as one line that cannot move a terminal's cursor or turn the direction of reading.

    Names of files and keys come from anywhere; each sign that is none for the eye becomes a question mark.
    """
    line = " ".join(text.split())
    return line if line.isprintable() else "".join(c if c.isprintable() else "?" for c in line)


class AppError(Exception):
    """Something that a person can mend; its text is one clear line."""

    def __init__(self, words: str, *, where: str = "") -> None:
        self.words = one_line(words)
        self.where = one_line(where)
        super().__init__(f"{self.where}: {self.words}" if where else self.words)


class ClipError(AppError):
    """A film cannot be opened or one of its frames cannot be had; `where` names the file or the frame."""


class ClipClosed(ClipError):
    """A clip was used after it was closed."""


class RunFileError(AppError):
    """A run file breaks the contract; `where` names the file and the key."""


class EditRefused(AppError):
    """A change would leave the run breaking the contract; `where` names the key. The run stays as it was."""


class TableError(AppError):
    """A table of measurements cannot be read; `where` names the file, the row and the column."""


class FindingsError(AppError):
    """A result of one run cannot be compared with others; `where` names the file and the key."""


class PlanRefused(AppError):
    """A planned experiment that no bench can have; `where` names what was given."""


class SetupIncomplete(AppError):
    """The run lacks something that the work asked for needs; `where` names the key."""


class Stopped(AppError):
    """Long work was stopped by the user; nothing was left half done."""


class OutputError(AppError):
    """Results could not be written; `where` names the file or folder."""
