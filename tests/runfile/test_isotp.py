"""Messages of several frames are put together as ISO 15765-2 has it, and what is lost is counted, not guessed."""

from hypothesis import given
from hypothesis import strategies as st

from pullbook.runfile.isotp import Assembler, Message


def frames_of(payload: bytes) -> list[bytes]:
    """The payload in frames of eight bytes, padded, as ISO 15765-4 sends them."""
    if len(payload) < 8:
        return [(bytes([len(payload)]) + payload).ljust(8, b"\xaa")]
    frames = [bytes([0x10 | len(payload) >> 8, len(payload) & 255]) + payload[:6]]
    for number, at in enumerate(range(6, len(payload), 7), 1):
        frames.append((bytes([0x20 | number % 16]) + payload[at : at + 7]).ljust(8, b"\xaa"))
    return frames


def fed(assembler: Assembler, frames: list[bytes]) -> list[Message]:
    answers = [assembler.feed(place * 0.01, frame) for place, frame in enumerate(frames)]
    assembler.end()
    return [message for message in answers if message is not None]


@given(payload=st.binary(min_size=1, max_size=4095))
def test_whatever_is_taken_apart_comes_together_again(payload: bytes) -> None:
    assembler = Assembler()
    (message,) = fed(assembler, frames_of(payload))
    assert message == Message(0.0, payload)
    assert (assembler.lost_frames, assembler.broken_messages, assembler.stray_frames) == (0, 0, 0)


@given(payload=st.binary(min_size=20, max_size=300), data=st.data())
def test_a_lost_frame_spoils_its_message_and_no_other(payload: bytes, data: st.DataObject) -> None:
    frames = frames_of(payload)
    lost = data.draw(st.integers(1, len(frames) - 1))
    assembler = Assembler()
    (after,) = fed(assembler, [*frames[:lost], *frames[lost + 1 :], *frames_of(b"\x41\x0d\x12")])
    assert after.payload == b"\x41\x0d\x12"
    assert assembler.broken_messages == 1
    assert assembler.lost_frames == (1 if lost < len(frames) - 1 else 0)


def test_flow_control_says_nothing() -> None:
    first, *further = frames_of(bytes(range(30)))
    assembler = Assembler()
    (message,) = fed(assembler, [first, b"\x30\x00\x00", *further])
    assert message.payload == bytes(range(30))
    assert assembler.flow_controls == 1


def test_a_further_frame_that_comes_too_late_belongs_to_nothing() -> None:
    first, second, _ = frames_of(bytes(range(20)))
    assembler = Assembler()
    assert assembler.feed(0.0, first) is None
    assert assembler.feed(1.5, second) is None
    assert assembler.broken_messages == 1


def test_what_is_no_frame_of_the_four_is_counted() -> None:
    assembler = Assembler()
    odd = [
        b"",
        b"\x00",
        b"\x08" + bytes(7),
        b"\x47" + bytes(7),
        b"\x21" + bytes(7),
        b"\x10\x05" + bytes(6),
        b"\x05\x41",
    ]
    assert fed(assembler, odd) == []
    assert assembler.stray_frames == len(odd)


def test_a_long_frame_states_its_length_in_the_next_byte() -> None:
    payload = bytes(range(20))
    assert fed(Assembler(), [bytes([0, 20]) + payload + bytes(10)]) == [Message(0.0, payload)]
