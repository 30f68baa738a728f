"""Is this a kind of file that is read here at all? Told from its first bytes."""


def screen(first_bytes: bytes, size: int | None = None) -> None:
    """Return quietly if this may be delimited text; raise `RefusedFile` with the reason if not.

    `first_bytes`: the start of the file, at best 4 kB or more (fewer will do); `size`: bytes in all, where known.
    Takes microseconds, so it can be asked before the rest of a body is read.
    """
    raise NotImplementedError
