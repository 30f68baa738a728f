"""The archive: pulls found by words and by what they are, a page at a time.

Words are looked up in tickets' texts, the newest job first, and each pull is then held against them, so that a part
named in one setup finds that setup's pulls. Ids come first; what is shown of them is read for one page only.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Integer,
    and_,
    bindparam,
    column,
    func,
    or_,
    select,
    table,
    text,
    tuple_,
    type_coerce,
)
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.found import FoundModel, FoundPull, FoundTicket
from pullbook.db.stored_types import id_text
from pullbook.db.tables import Setup
from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.shop.narrowing import (
    FEW,
    LookedFor,
    conditions,
    few_with,
    flagged,
    models_asked,
    newest,
    newest_grouped,
)
from pullbook.shop.wording import Wanted, setup_line, wanted

MOST_COUNTED = 1000
FIRST_TICKETS, MOST_TICKETS = 64, 1024
PULLS_OF_A_TICKET = 3  # that a search finds, about
IN_JOBS = (FoundPull.number, FoundPull.taken_at, FoundPull.pull_id)
_WORDS = table("found_words", column("rowid", Integer))
# Ids stay the numbers they are, since few of a thousand are told.
_MET = select(
    *(type_coerce(one, BigInteger).label(one.key) for one in (FoundPull.pull_id, FoundPull.setup_id)),
    type_coerce(FoundPull.model_id, BigInteger).label("model_id"),
    FoundPull.number,
    FoundPull.model_year,
)
_IDS: Any = bindparam("ids", expanding=True, type_=BigInteger())
# what a pull is held against beside its ticket's own words
_SETUPS = select(
    type_coerce(Setup.ticket_id, BigInteger), type_coerce(Setup.id, BigInteger), Setup.name, Setup.changed, Setup.fuel
).where(type_coerce(Setup.ticket_id, BigInteger).in_(_IDS))
_SETUPS = _SETUPS.order_by(Setup.ticket_id, Setup.position)
_NOTES = select(type_coerce(Pull.id, BigInteger), Pull.notes).where(type_coerce(Pull.id, BigInteger).in_(_IDS))
_LINES = (
    FoundTicket.number,
    type_coerce(FoundTicket.ticket_id, BigInteger).label("ticket_id"),
    FoundTicket.own_line,
    FoundTicket.line,
)


@dataclass(frozen=True, slots=True)
class Counted:
    """How many of the newest thousand pulls found are of each make and each model year, the most first."""

    pulls: int  # of these; a thousand, where there are more
    more: bool
    makes: tuple[tuple[str, int], ...]
    years: tuple[tuple[int | None, int], ...]


@dataclass(frozen=True, slots=True)
class Hits:
    """A page of pulls found, by id, and what they come to; `counted` with the first page only."""

    pull_ids: tuple[str, ...]
    next: str | None
    counted: Counted | None


def look(session: Session, looked: LookedFor, cursor: str | None, limit: int, *, count: bool = True) -> Hits:
    """Pulls that fit, the latest taken first; with words the newest job first, and in each its latest pull first.

    Without `count` not even the first page is counted. Invalid for a cursor that no page gave.
    """
    key = _key(session, cursor)
    by_words, counts = bool(looked.words.strip()), count and not cursor
    model_ids = models_asked(session, looked)
    if model_ids == []:
        return Hits((), None, _counted(session, ()) if counts else None)
    if by_words:
        met = _with_words(session, looked, model_ids, key, max(limit, MOST_COUNTED) + 1 if counts else limit + 1)
        pull_ids = [id_text(row.pull_id) for row in met[: limit + 1]]
        counted = _counted(session, _grouped(met)) if counts else None
    else:
        found = newest(session, looked, model_ids, key[1:] if key else None, limit + 1)
        pull_ids = [row.pull_id for row in found]
        there = newest_grouped(session, looked, model_ids, MOST_COUNTED + 1) if counts else ()
        counted = _counted(session, there) if counts else None
    page = tuple(pull_ids[:limit])
    return Hits(page, page[-1] if len(pull_ids) > limit else None, counted)


def _key(session: Session, cursor: str | None) -> tuple[Any, ...] | None:
    if not cursor:
        return None
    row = session.execute(select(*IN_JOBS).where(FoundPull.pull_id == cursor)).one_or_none()
    if row is None:
        problem = FieldProblem("cursor", cursor, "send back `next` as the page gave it, or leave it out")
        raise Invalid(f"cursor {cursor!r} is not one that a page gave.", problem)
    return tuple(row)


def _with_words(
    session: Session, looked: LookedFor, model_ids: Sequence[str] | None, key: tuple[Any, ...] | None, enough: int
) -> Sequence[Any]:
    """Rows of `_MET` that hold the words, up to so many and some more."""
    words = wanted(looked.words)
    if not words:
        return []  # nothing of it could be looked up
    few = few_with(session, looked, model_ids, any_filter=True)
    asked = [*conditions(looked, model_ids), *flagged(looked)]
    if key is not None:
        asked.append(tuple_(*IN_JOBS) < tuple_(*key, types=[one.type for one in IN_JOBS]))
    if few is not None:
        chosen: Any = _MET.add_columns(*_LINES[1:]).join(few, few.c.pull_id == FoundPull.pull_id)
        chosen = chosen.join(FoundTicket, FoundTicket.number == FoundPull.number)
        rows = session.execute(_in_jobs(chosen.where(*asked, _stands_in(session, words)))).all()
        return _held_against(session, words, rows, {row.number: row for row in rows})
    met: list[Any] = []
    likely = enough // PULLS_OF_A_TICKET + 1
    for lines in _tickets(session, words, key[0] if key else None, likely):
        numbers = list(lines)
        for at in range(0, len(numbers), likely):
            some = {number: lines[number] for number in numbers[at : at + likely]}
            rows = session.execute(_in_jobs(_MET.where(FoundPull.number.in_(list(some)), *asked))).all()
            met += _held_against(session, words, rows, some)
            if len(met) >= enough:
                return met
    return met


def _in_jobs(statement: Any) -> Any:
    return statement.order_by(*(one.desc() for one in IN_JOBS))


def _stands_in(session: Session, words: Wanted) -> ColumnElement[bool]:
    """That every word stands in a ticket's text, letter for letter."""
    place = func.instr if session.get_bind().dialect.name == "sqlite" else func.strpos
    return or_(
        *(
            and_(*(or_(*(place(FoundTicket.line, needle) > 0 for needle in needles)) for needles in way))
            for way in words.ways
        )
    )


def _tickets(session: Session, words: Wanted, newest_number: int | None, likely: int) -> Iterator[dict[int, Any]]:
    """Tickets whose texts hold the words, the newest first: as many as will likely do, then more at a time.

    Rows of `_LINES` by number. Looking again costs the whole look-up again, so it is not done by small steps.
    """
    at_once, below = max(FIRST_TICKETS, likely), None if newest_number is None else newest_number + 1
    is_sqlite = session.get_bind().dialect.name == "sqlite"
    while True:
        find = _by_fts5 if is_sqlite else _by_tsvector
        rows = find(session, words, below, at_once)
        if rows:
            yield {row.number: row for row in rows}
        if len(rows) < at_once:
            return
        below, at_once = rows[-1].number, min(2 * at_once, MOST_TICKETS)


def _by_fts5(session: Session, words: Wanted, below: int | None, limit: int) -> Sequence[Any]:
    matched = text("found_words MATCH :threes").bindparams(threes=words.fts5)
    statement = (
        select(*_LINES).join(_WORDS, FoundTicket.number == _WORDS.c.rowid).where(matched, _stands_in(session, words))
    )
    if below is not None:
        statement = statement.where(_WORDS.c.rowid < below)
    return session.execute(statement.order_by(_WORDS.c.rowid.desc()).limit(limit)).all()


def _by_tsvector(session: Session, words: Wanted, below: int | None, limit: int) -> Sequence[Any]:
    """All that the index gives, where that is little; else a walk back from the newest, which then ends soon."""
    asked = [_stands_in(session, words)]
    if below is not None:
        asked.append(FoundTicket.number < below)
    threes = text("pullbook_trigrams(line) @@ CAST(:threes AS tsquery)").bindparams(threes=words.tsquery)
    capped = select(FoundTicket.number).where(threes, *asked).limit(FEW + 1).cte("capped").prefix_with("MATERIALIZED")
    many = select(func.count()).select_from(capped).scalar_subquery().label("many")
    first = select(capped.c.number).order_by(capped.c.number.desc()).limit(limit)
    in_turn = FoundTicket.number.desc()
    rows = session.execute(select(*_LINES, many).where(FoundTicket.number.in_(first)).order_by(in_turn)).all()
    if not rows or rows[0].many <= FEW:
        return rows
    return session.execute(select(*_LINES).where(*asked).order_by(in_turn).limit(limit)).all()


def _held_against(session: Session, words: Wanted, rows: Sequence[Any], lines: dict[int, Any]) -> list[Any]:
    """Of these pulls, those whose own ticket, setup and note hold every word; another setup's words are not theirs.

    `lines`: rows of `_LINES` by number. Setups and notes are read only where the ticket's own words do not decide.
    """
    whole = {number for number, line in lines.items() if words.is_met_by(line.own_line)}
    open_ids = {line.ticket_id: line for number, line in lines.items() if number not in whole}
    setups = _setup_lines(session, sorted(open_ids)) if open_ids else {}
    met, noted = set[int](), dict[int, tuple[str, str]]()  # setups by id: that hold them, and that may with a note
    for ticket_id, of_ticket in setups.items():
        line = open_ids[ticket_id]
        with_notes = words.is_met_by(line.line)  # which holds the notes of its pulls too, each text once
        for setup_id, setup in of_ticket.items():
            if words.is_met_by(line.own_line, setup):
                met.add(setup_id)
            elif with_notes:
                noted[setup_id] = line.own_line, setup
    pull_ids = [row.pull_id for row in rows if row.setup_id in noted]
    notes_of = {pull_id: note for pull_id, note in session.execute(_NOTES, {"ids": pull_ids})} if pull_ids else {}

    def is_met(row: Any) -> bool:
        if row.number in whole or row.setup_id in met:
            return True
        note = notes_of.get(row.pull_id)
        return note is not None and words.is_met_by(*noted[row.setup_id], setup_line(note))

    return [row for row in rows if is_met(row)]


def _setup_lines(session: Session, ticket_ids: Sequence[int]) -> dict[int, dict[int, str]]:
    """By ticket, then by setup, what each setup adds to its ticket's line."""
    found: dict[int, dict[int, str]] = {}
    for ticket_id, setup_id, *texts in session.execute(_SETUPS, {"ids": ticket_ids}):
        found.setdefault(ticket_id, {})[setup_id] = setup_line(*texts)
    return found


Groups = Sequence[tuple[str | None, int | None, int]]  # model, model year, how many


def _grouped(rows: Sequence[Any]) -> Groups:
    of_model = Counter((row.model_id, row.model_year) for row in rows[: MOST_COUNTED + 1])
    return [(None if model is None else id_text(model), year, count) for (model, year), count in of_model.items()]


def _counted(session: Session, groups: Groups) -> Counted:
    of_model, years = Counter[str](), Counter[int | None]()
    for model_id, year, count in groups:
        years[year] += count
        if model_id is not None:
            of_model[model_id] += count
    named = select(FoundModel.id, FoundModel.make_key, FoundModel.make).where(FoundModel.id.in_(of_model))
    makes: Counter[str] = Counter()
    spelled: dict[str, str] = {}
    for model_id, key, make in session.execute(named.order_by(FoundModel.id)) if of_model else ():
        makes[spelled.setdefault(key, make)] += of_model[model_id]
    pulls = years.total()
    return Counted(
        pulls=min(pulls, MOST_COUNTED),
        more=pulls > MOST_COUNTED,
        makes=tuple(sorted(makes.items(), key=lambda one: (-one[1], one[0]))),
        years=tuple(sorted(years.items(), key=lambda one: (one[0] is None, -(one[0] or 0)))),
    )
