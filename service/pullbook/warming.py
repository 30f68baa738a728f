"""What is slow to load, loaded behind the first answers."""

from pullbook.shop.signing_in import nobodys_hash
from pullbook.static_files import StaticPart


def warm(static: StaticPart) -> None:
    """The file reader's pandas, the chart library's smallest form, the hash that unknown names are checked against."""
    import pandas  # noqa: F401, PLC0415  half a second and 34 MB that the first page need not wait for

    nobodys_hash()
    static.prepare("gz")
    static.prepare("br")
