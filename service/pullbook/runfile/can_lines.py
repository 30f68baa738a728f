"""One line of a text CAN log → a frame. Plain line shapes, told by their shape alone.

(1700000000.123456) can0 7E8#04410C1AF8000000      time in brackets, bus, identifier # data
0.1234  7E8  8  04 41 0C 1A F8 00 00 00            time, identifier, length, bytes
0.1234; 1; 0x18DAF110; Rx; 8; 04410C1AF8000000     with bus or direction between, or the bytes in one word
"""

import re

from pullbook.late_methods import dataclass

LONGEST_LINE = 400  # 64 bytes of an FD frame and every word beside them are shorter
_COMMENTS = ("#", "//", ";", "%", "!", "*", "'")
_IDENTIFIER = re.compile(r"(?:0[xX])?([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})[xXhH]?")
_SECONDS = re.compile(r"[0-9]{1,12}(?:\.[0-9]{1,12})?")
_CLOCK = re.compile(r"([0-9]{1,2}):([0-5][0-9]):([0-5][0-9](?:\.[0-9]{1,9})?)")
_DATE = re.compile(r"[0-9]{1,4}[-./][0-9]{1,2}[-./][0-9]{1,4}")
_HEX = re.compile(r"[0-9A-Fa-f]+")
_APART = str.maketrans('()[]",;\t|', " " * 9)
_BETWEEN_MOST = 3  # words that may stand between the time and the identifier: bus, direction, a running number
_BESIDE = frozenset(("rx", "tx", "r", "t", "d", "s", "x", "std", "ext", "data"))  # before the length
_LONG_LENGTHS = frozenset(("08", "12", "16", "20", "24", "32", "48", "64"))


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame. `time_text` is the stamp in seconds as a decimal text; `extended` an identifier of 29 bits."""

    time_text: str
    identifier: int
    extended: bool
    data: bytes
    bus: str = ""


def frame_of(line: str) -> Frame | None:
    """The frame that a line states, or None: a comment, a heading, a remote frame, or no CAN log at all."""
    line = line.strip()
    if not line or len(line) > LONGEST_LINE or line.startswith(_COMMENTS):
        return None
    if "#" in line:
        return _with_mark(line)
    if ";" in line:  # then a comma may be the decimal mark of the time
        first, mark, rest = line.partition(";")
        line = f"{first.replace(',', '.')}{mark}{rest}"
    words = line.translate(_APART).split()
    taken, stamp = _stamp(words)
    if stamp is None:
        return None
    for place in range(taken, min(taken + _BETWEEN_MOST + 1, len(words))):
        match = _IDENTIFIER.fullmatch(words[place])
        if match is None:
            continue
        diagnostic = is_diagnostic(int(match[1], 16), len(match[1]) == 8)
        data = _bytes_of(words[place + 1 :], diagnostic)
        if data is not None:
            return _frame(stamp, match[1], data, words[taken] if place > taken else "")
    return None


def is_diagnostic(identifier: int, extended: bool) -> bool:
    """Is it an address of ISO 15765-4: a request to all or to one, or an answer?"""
    if identifier <= 0x7FF:
        return identifier == 0x7DF or 0x7E0 <= identifier <= 0x7EF
    return extended and identifier >> 16 in (0x18DA, 0x18DB)


def _with_mark(line: str) -> Frame | None:
    """`identifier#data`, with `##` and a digit of flags before the data of an FD frame."""
    before, _, after = line.partition("#")
    words = before.translate(_APART).split()
    taken, stamp = _stamp(words)
    if stamp is None or len(words) <= taken:
        return None
    match = _IDENTIFIER.fullmatch(words[-1])
    packed = (after.split() or [""])[0].replace(".", "")
    if packed.startswith("#"):
        packed = packed[2:]
    if match is None or len(packed) % 2 or len(packed) > 128 or (packed and not _HEX.fullmatch(packed)):
        return None
    return _frame(stamp, match[1], bytes.fromhex(packed), words[taken] if len(words) > taken + 1 else "")


def _frame(stamp: str, digits: str, data: bytes, bus: str) -> Frame:
    identifier = int(digits, 16)
    return Frame(stamp, identifier, len(digits) == 8 and identifier > 0x7FF, data, bus)


def _stamp(words: list[str]) -> tuple[int, str | None]:
    """How many words the time takes, and the time in seconds as text."""
    first = 1 if words and _DATE.fullmatch(words[0]) and ":" in "".join(words[1:2]) else 0
    word = words[first] if len(words) > first else ""
    if _SECONDS.fullmatch(word):
        return first + 1, word
    clock = _CLOCK.fullmatch(word)
    if clock is None:
        return 0, None
    whole, _, part = clock[3].partition(".")
    return first + 1, f"{int(clock[1]) * 3600 + int(clock[2]) * 60 + int(whole)}.{part or '0'}"


def _bytes_of(words: list[str], diagnostic: bool) -> bytes | None:
    """The data behind an identifier: a length and so many bytes. Without a length only at a diagnostic address, and
    only eight bytes, for figures of three and two digits in a row are no CAN log yet."""
    start = 0
    while start < len(words) and words[start].lower() in _BESIDE:
        start += 1
    words = words[start:]
    if not words:
        return None
    if words[0].isdecimal() and (len(words[0]) == 1 or words[0] in _LONG_LENGTHS):
        count = int(words[0])
        packed = _packed(words[1:], count)
        if packed is not None:
            return packed
    return _packed(words, 8) if diagnostic and len(words) in (1, 8) else None


def _packed(words: list[str], count: int) -> bytes | None:
    """So many bytes, in one word or in as many."""
    if count == 0:
        return b""
    if not words:
        return None
    first = words[0].removeprefix("0x").removeprefix("0X")
    text = first if len(first) == 2 * count else "".join(_two(word) for word in words[:count])
    return bytes.fromhex(text) if len(text) == 2 * count and _HEX.fullmatch(text) else None


def _two(word: str) -> str:
    word = word.removeprefix("0x").removeprefix("0X")
    return word if len(word) == 2 else "?"
