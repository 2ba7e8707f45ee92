"""What can go wrong by the user's input: one base class, subclasses by cause.

Every message says what is wrong, where (file, key, value), and what to change. The command line prints it and
exits with code 2; nothing else in the package may stop on bad input in another way.
"""


class ShellgenError(Exception):
    """Base of all errors that the user can mend."""


class JobError(ShellgenError):
    """The job file cannot be read, or one of its keys is wrong."""


class PatternError(ShellgenError):
    """The pattern's mesh cannot be used."""


class DesignError(ShellgenError):
    """The job's settings do not fit together, or do not fit this pattern."""


class SizeError(ShellgenError):
    """The job would need more memory, raster nodes or triangles than the machine has."""


class KernelError(ShellgenError):
    """A solid could not be made from its recipe."""
