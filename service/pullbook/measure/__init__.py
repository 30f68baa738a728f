"""What is calculated. Pure: SI in, SI out, numpy and the standard library; no clock, no files, no database.

`METHOD_VERSION` changes whenever the same samples would give other numbers.
"""

from pullbook.measure.glossary import CHANNELS, GLOSSARY, Channel, Term

METHOD_VERSION = "2026.6"

__all__ = ["CHANNELS", "GLOSSARY", "METHOD_VERSION", "Channel", "Term"]
