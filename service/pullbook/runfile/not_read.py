"""The two ways a file is turned away: it is no run file at all, or it is one with a fault at a line and column."""


class RefusedFile(ValueError):  # noqa: N818 - it says what happened to the file
    """Not a kind of file that is read here (archive, picture, program, nothing but commas, beyond a cap).

    `reason` is one plain sentence for the person who sent it.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class RunFileError(ValueError):
    """Delimited text that cannot be read as a table of numbers.

    `reason` is a plain sentence that already names the place; `line` is the line in the file as an editor counts
    (from 1), `column` the cell in that line (from 1); None where the fault has no one place.
    """

    def __init__(self, reason: str, line: int | None = None, column: int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.line = line
        self.column = column
