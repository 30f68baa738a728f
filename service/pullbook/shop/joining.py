"""Joining: a second logger's file beside a pull, on its own clock, kept under its own hash.

Its channels appear in what is read from the pull wherever the pull's own file has none of that quantity. Power is never
calculated from them: a file that comes late changes no figure, it only says more.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from math import pi
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ColumnBlock, Pull
from pullbook.db.joined import JoinedFile
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.measure.alignment import ClockOffset, clock_offset
from pullbook.measure.resampling import laid_on
from pullbook.runfile.block import unpack
from pullbook.runfile.channels import ChannelMapError, apply_map, columns_needed, recognise
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.channelling import own_channels
from pullbook.shop.facts import Floats, JoinedFacts, MapFacts
from pullbook.shop.filing import FileRead, clean_file_name, keep_file
from pullbook.shop.loading import Loaded, LoadedBeside, load_pulls
from pullbook.shop.mapping import choices_of, choose_map, keep_recognised

# what power is calculated from, or the sweep found by: never taken from a joined file
NEVER_JOINED = frozenset(
    {
        *("time_s", "roller_speed_rad_s", "roller_surface_speed_m_s", "roller_pulses", "roller_pulse_increments"),
        *("engine_speed_rpm", "brake_torque_nm", "brake_force_n", "throttle_pct", "vehicle_speed_m_s"),
    }
)
_SAME = {"manifold_gauge_kpa": "manifold_pressure_kpa", "manifold_pressure_kpa": "manifold_gauge_kpa"}


@dataclass(frozen=True, slots=True)
class JoinedRead:
    """How a joined file lies on its pull's clock, and what it gives.

    `offset_s` is added to the file's own time; None: it gives nothing, and `failure` says why. `found` is what matching
    engine speeds came to, also where the offset was set by hand; None where there was nothing to match.
    """

    facts: JoinedFacts
    channel_map: MapFacts | None
    reader: str | None
    channels: Mapping[str, Floats]  # its own, on its own time
    offset_s: float | None
    found: ClockOffset | None
    gives: tuple[str, ...]
    failure: str | None
    pull_speed: tuple[Floats, Floats] | None = None  # the pull's own stamps and engine speed, which it was laid by


@dataclass(frozen=True, slots=True)
class JoinWanted:
    """What is said of a file beside its bytes."""

    pull_id: str
    file_name: str
    channel_map_id: str | None = None


def read_joined(
    loaded: Loaded, own: Mapping[str, Floats], wanted: Collection[str] | None = None
) -> tuple[JoinedRead, ...]:
    """Every file joined to a pull, laid on its clock. `own`: the pull's channels, its time and engine speed among them.

    `wanted`: only these quantities matter; without any of them in a file nothing is matched.
    """
    taken, read = set(own), []
    for beside in loaded.joined:
        one = _read_one(loaded, beside, own, taken, wanted)
        taken |= set(one.gives)
        read.append(one)
    return tuple(read)


def with_joined(own: Mapping[str, Floats], joined: Sequence[JoinedRead]) -> dict[str, Floats]:
    """The pull's channels and, on its own stamps, those that the joined files give besides."""
    channels = dict(own)
    for one in joined:
        if one.offset_s is not None:
            when = one.channels["time_s"] + one.offset_s
            channels |= {name: laid_on(own["time_s"], when, one.channels[name]) for name in one.gives}
    return channels


def all_channels(loaded: Loaded, wanted: Collection[str] | None = None) -> dict[str, Floats]:
    """The pull's own channels and those that joined files give besides, as (rows,) arrays on the pull's stamps.

    `wanted`: only these, where given; the joined ones then come only where engine speed is among them, or the roller's
    speed and a stated ratio. LookupError and ChannelMapError as `own_channels` raises them.
    """
    own = own_channels(loaded, wanted)
    return with_joined(own, read_joined(loaded, own, wanted)) if loaded.joined else own


def _read_one(
    loaded: Loaded,
    beside: LoadedBeside,
    own: Mapping[str, Floats],
    taken: Collection[str],
    wanted: Collection[str] | None,
) -> JoinedRead:
    facts, columns, channel_map = beside.facts, beside.columns, beside.channel_map
    reader = None if columns is None else columns.reader
    channels, failure = _channels_of(beside)
    offset_s, found, gives, turning = facts.offset_s, None, tuple[str, ...](), None
    could = [name for name in channels if _is_new(name, taken) and (wanted is None or name in wanted)]
    if failure is None and "time_s" not in own:
        failure = "The pull itself cannot be read yet, so there is no clock to lay it on."
    elif failure is None and (wanted is None or could):
        turning = engine_speed_of(loaded, own)
        found = _matched(own, turning, channels)
        if offset_s is None:
            offset_s, failure = (found.offset_s, found.reason) if found is not None else (None, _NOTHING_TO_MATCH)
        if offset_s is not None:
            gives = tuple(name for name in could if _reaches(own["time_s"], channels, name, offset_s))
            if not gives and wanted is None:
                failure = _nothing_new(channels, taken)
    beside_it = None if turning is None else (own["time_s"], turning)
    placed_s = offset_s if gives else None
    return JoinedRead(facts, channel_map, reader, channels, placed_s, found, gives, failure, beside_it)


_NOTHING_TO_MATCH = (
    "There is no engine speed on both sides to match by: set the offset by hand, or log engine speed with it."
)


def _channels_of(beside: LoadedBeside) -> tuple[dict[str, Floats], str | None]:
    """The file's own channels, or why there are none."""
    facts, columns, channel_map = beside.facts, beside.columns, beside.channel_map
    if facts.left_out_reason is not None:
        return {}, f"Left out: {facts.left_out_reason}"
    if facts.state != "readable" or columns is None or channel_map is None:
        return {}, f"It is kept but cannot be read yet: {facts.unreadable_reason or 'its columns are not there'}"
    choices = choices_of(channel_map.columns)
    try:
        places = columns_needed(columns.headers, choices)
        headers = [columns.headers[place] for place in places]
        return apply_map(headers, unpack(columns.block, places), choices, needs_roller=False), None
    except ChannelMapError as error:
        return {}, error.reason


def _is_new(name: str, taken: Collection[str]) -> bool:
    return name not in NEVER_JOINED and name not in taken and _SAME.get(name) not in taken


def _nothing_new(channels: Mapping[str, Floats], taken: Collection[str]) -> str:
    if any(_is_new(name, taken) for name in channels):
        return "At this offset none of its samples lies within the pull."
    return "It has no channel that the pull's own file, or one joined before, does not have."


def _reaches(time_s: Floats, channels: Mapping[str, Floats], name: str, offset_s: float) -> bool:
    when = channels["time_s"] + offset_s
    within = (when >= np.nanmin(time_s)) & (when <= np.nanmax(time_s)) & np.isfinite(channels[name])
    return bool(within.any())


def _matched(own: Mapping[str, Floats], turning: Floats | None, channels: Mapping[str, Floats]) -> ClockOffset | None:
    """The offset by engine speed; None where one side has none."""
    if turning is None or "engine_speed_rpm" not in channels:
        return None
    return clock_offset(own["time_s"], turning, channels["time_s"], channels["engine_speed_rpm"])


def engine_speed_of(loaded: Loaded, own: Mapping[str, Floats]) -> Floats | None:
    """The pull's engine speed in rev/min: its channel, else the stated ratio times the roller's; None without both."""
    turning = own.get("engine_speed_rpm")
    if turning is not None and np.isfinite(turning).any():
        return turning
    ratio = loaded.setup.engine_turns_per_roller_turn or loaded.ticket.vehicle.engine_turns_per_roller_turn
    if ratio is None:
        return None
    if "roller_speed_rad_s" in own:
        return own["roller_speed_rad_s"] * (ratio * 30.0 / pi)
    if "roller_surface_speed_m_s" in own and loaded.calibration is not None:
        return own["roller_surface_speed_m_s"] * (ratio * 30.0 / pi / loaded.calibration.roller_radius_m)
    return None


def joined_inputs(loaded: Loaded) -> list[list[Any]]:
    """What of the joined files decides numbers, for the digest."""
    return [
        [
            one.facts.sha256,
            one.columns.reader if one.columns else None,
            one.channel_map.columns if one.channel_map else None,
            one.facts.offset_s,
        ]
        for one in loaded.joined
        if one.facts.left_out_reason is None and one.facts.state == "readable"
    ]


def joined_of(session: Session, pull_id: str) -> tuple[JoinedRead, ...]:
    """Every file joined to a pull, laid on its clock as far as both can be read. NotFound for an unknown pull."""
    loaded = load_pulls(session, [pull_id])[0]
    if not loaded.joined:
        return ()
    try:
        own: Mapping[str, Floats] = own_channels(loaded) if loaded.facts.state == "readable" else {}
    except (LookupError, ChannelMapError):
        own = {}
    return read_joined(loaded, own)


def found_in(session: Session, files: Collection[str]) -> dict[str, dict[str, str]]:
    """What the reader found in each of these files, in words, by hash: its kind, what was lost, what was left out."""
    if not files:
        return {}
    rows = session.execute(select(ColumnBlock.sha256, ColumnBlock.found).where(ColumnBlock.sha256.in_(files)))
    return {row.sha256: row.found for row in rows}


def already_joined(session: Session, pull_id: str, sha256: str) -> str | None:
    """The id of the joined file that these very bytes are beside this pull, if they are."""
    statement = select(JoinedFile.id).where(JoinedFile.pull_id == pull_id, JoinedFile.sha256 == sha256)
    found: str | None = session.execute(statement).scalar_one_or_none()
    return found


def refuse_unknown_pull(session: Session, pull_id: str) -> None:
    """NotFound when there is no such pull."""
    if session.execute(select(Pull.id).where(Pull.id == pull_id)).one_or_none() is None:
        raise NotFound(f"There is no pull {pull_id}.")


def join_file(session: Session, now: datetime, staff_id: str, wanted: JoinWanted, read: FileRead) -> tuple[str, bool]:
    """Join it in this transaction; gives its id and whether it was made now rather than found.

    Invalid when it is the pull's own file. One that cannot be read is kept all the same, with its reason.
    """
    # two sendings of one file meet at the pull's row: the second finds what the first joined
    pull = session.execute(select(Pull.sha256).where(Pull.id == wanted.pull_id).with_for_update()).one_or_none()
    if pull is None:
        raise NotFound(f"There is no pull {wanted.pull_id}.")
    if pull.sha256 == read.sha256:
        raise Invalid(
            "This is the pull's own file; only another logger's can be joined to it.",
            FieldProblem("body", wanted.file_name, "another file of the same run"),
        )
    there = already_joined(session, wanted.pull_id, read.sha256)
    if there is not None:
        return there, False
    keep_file(session, now, read)
    map_id, reason = _map_for(session, now, staff_id, wanted.channel_map_id, read)
    row = JoinedFile(
        pull_id=wanted.pull_id,
        sha256=read.sha256,
        file_name=clean_file_name(wanted.file_name),
        received_at=now,
        made_by=staff_id,
        channel_map_id=map_id,
        state="readable" if reason is None else "unreadable",
        unreadable_reason=reason,
    )
    session.add(row)
    session.flush()
    after = {"pull_id": wanted.pull_id, "sha256": read.sha256, "state": row.state, "channel_map_id": map_id}
    note(session, now, staff_id, "join", "joined_file", row.id, None, after)
    enter(session, now, "joined file", row.id)
    return row.id, True


def _map_for(
    session: Session, now: datetime, staff_id: str, given_map_id: str | None, read: FileRead
) -> tuple[str | None, str | None]:
    """The map to read it with, or why there is none."""
    if read.run is None:
        return None, read.unreadable_reason
    headers, values = read.run.headers, read.run.values
    recognised = recognise(headers, values, needs_roller=False)
    mapped = choose_map(session, headers, values, given_map_id, recognised, needs_roller=False)
    if mapped.map_id is not None or mapped.unreadable_reason is not None:
        return mapped.map_id, mapped.unreadable_reason
    if {choice.quantity for choice in recognised.choices} <= {"time_s"}:
        return None, "needs a channel map: none of its headings is understood"
    return keep_recognised(session, recognised, now, staff_id), None
