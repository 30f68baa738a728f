"""Messages of more than one CAN frame, put together again: ISO 15765-2 (transport protocol), as ISO 15765-4 uses it.

The first half byte of a frame says what it is: 0 a message in one frame, 1 the first of several, 2 a further one with
its running number, 3 flow control, which says nothing about the message itself.
"""

from dataclasses import field

from pullbook.late_methods import dataclass

LONGEST_MESSAGE = 4095  # what twelve bits of length can say
LONGEST_WAIT_S = 1.0  # N_Cr of ISO 15765-2: a further frame later than this belongs to nothing


@dataclass(frozen=True, slots=True)
class Message:
    """A whole message. `time_s`: the stamp of its first frame, which stands nearest to when its values were taken."""

    time_s: float
    payload: bytes


@dataclass(slots=True)
class _Unfinished:
    time_s: float
    last_s: float
    length: int
    payload: bytearray
    expected: int


@dataclass(slots=True)
class Assembler:
    """Puts the frames of one sender together. Senders are kept apart by giving each its own."""

    lost_frames: int = 0
    broken_messages: int = 0  # begun and never finished, or with a frame missing
    stray_frames: int = 0  # further frames of nothing, and frames that are none of the four
    flow_controls: int = 0
    _open: _Unfinished | None = field(default=None)

    def feed(self, time_s: float, data: bytes) -> Message | None:
        """Take one frame in the order of the log; gives the message that it completes, if any."""
        kind = data[0] >> 4 if data else 15
        if kind == 3:
            self.flow_controls += 1
            return None
        if kind == 2:
            return self._further(time_s, data)
        self._give_up()
        if kind == 0:
            return self._single(time_s, data)
        if kind == 1:
            self._first(time_s, data)
        else:
            self.stray_frames += 1
        return None

    def end(self) -> None:
        """There is no more: what is unfinished will stay so."""
        self._give_up()

    def _give_up(self) -> None:
        if self._open is not None:
            self.broken_messages += 1
            self._open = None

    def _single(self, time_s: float, data: bytes) -> Message | None:
        length, start = data[0] & 15, 1
        if length == 0 and len(data) > 8:  # an FD frame states its length in the next byte
            length, start = data[1], 2
        if not 0 < length <= len(data) - start:
            self.stray_frames += 1
            return None
        return Message(time_s, bytes(data[start : start + length]))

    def _first(self, time_s: float, data: bytes) -> None:
        length = (data[0] & 15) << 8 | data[1] if len(data) > 2 else 0
        if length <= len(data) - 2:  # nothing would be left for a further frame, or a length beyond twelve bits
            self.stray_frames += 1
            return
        self._open = _Unfinished(time_s, time_s, length, bytearray(data[2:]), 1)

    def _further(self, time_s: float, data: bytes) -> Message | None:
        begun = self._open
        if begun is None:
            self.stray_frames += 1
            return None
        number = data[0] & 15
        if number != begun.expected or time_s - begun.last_s > LONGEST_WAIT_S:
            self.lost_frames += (number - begun.expected) % 16
            self._give_up()
            return None
        begun.payload += data[1:]
        begun.last_s, begun.expected = time_s, (number + 1) % 16
        if len(begun.payload) < begun.length:
            return None
        self._open = None
        return Message(begun.time_s, bytes(begun.payload[: begun.length]))
