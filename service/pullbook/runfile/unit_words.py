"""Units as people write them in headings → the identifiers of `measure.units`."""

import re
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

from pullbook.late_methods import dataclass

_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "s": "s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos seg",
        "ms": "ms msec millisecond milliseconds millisekunden millisecondes milisegundos",
        "min": "min minute minutes minuten minutos",
        "rad_s": "rad/s rads-1 rad/sec rad_s",
        "rev_min": "rpm rev/min revs/min r/min 1/min min-1 /min u/min upm tr/min trs/min t/min rev_min umdr/min"
        " umin-1 revmin-1",
        "rev_s": "rps rev/s r/s u/s tr/s rev_s",
        "m_s": "m/s ms-1 m_s m/sec",
        "km_h": "km/h kmh kph kmh-1 km_h kmph",
        "mph": "mph mi/h",
        "nm": "nm newtonmetre newtonmetres newtonmeter newtonmeters",
        "lbf_ft": "lbfft ftlbf lbft ftlb ftlbs lbsft lbffoot poundfoot footpounds poundfeet lbf_ft",
        "kgf_m": "kgfm kpm mkp kgf_m",
        "n": "n newton newtons",
        "kn": "kn",
        "kgf": "kgf kp",
        "lbf": "lbf",
        "w": "w watt watts",
        "kw": "kw",
        "hp": "hp bhp",
        "ps": "ps",
        "kpa": "kpa",
        "pa": "pa",
        "hpa": "hpa",
        "mbar": "mbar millibar",
        "bar": "bar bars",
        "psi": "psi",
        "inhg": "inhg",
        "mmhg": "mmhg",
        "atm": "atm",
        "c": "°c c degc celsius degreesc gradc",
        "f": "°f f degf fahrenheit degreesf",
        "k": "k kelvin",
        "lambda": "lambda",
        "afr_petrol": "afrpetrol afrgasoline afrbenzin afressence afrgasolina petrolafr gasolineafr",
        "afr_e10": "afre10 e10afr",
        "afr_e85": "afre85 e85afr",
        "afr_ethanol": "afrethanol afre100",
        "afr_methanol": "afrmethanol afrm100",
        "afr_diesel": "afrdiesel",
        "afr_lpg": "afrlpg",
        "afr_cng": "afrcng",
        "m": "m metre metres meter meters",
        "mm": "mm",
        "in": "in inch inches",
        "ft": "ft feet",
        "kg": "kg",
        "lb": "lb lbs",
        "g": "g",
        "pct": "% pct percent prozent pourcent porcentaje porciento",
        "fraction": "fraction 0-1 0..1",
        "deg": "° deg degs degree degrees °kw °ca °crank °btdc degbtdc degcrank degca grad degre degres grado grados",
        "count": "count counts pulse pulses impulse impuls imp impulsions impulsos pulsos tops inkremente",
        "g_s": "g/s gs-1 g/sec g_s",
        "kg_h": "kg/h kgh-1 kg_h kg/hr",
        "lb_h": "lb/h lbs/h lb/hr lbs/hr lb_h",
        "v": "v volt volts",
    }
)
_IDENTIFIERS = {spelling: identifier for identifier, text in _SPELLINGS.items() for spelling in text.split()}
# dimensionless, or a format of clock times: no unit, but at home in a row of units
_NO_UNIT = frozenset(
    ("-", "–", "—", "1", "h:m:s", "hh:mm:ss", "hh:mm:ss.fff", "hh:mm:ss.ms", "text", "afr", "λ", "n/a")
)
_ABSOLUTE = re.compile(r"^(?P<unit>[a-z/]+?)[ ._(]*(?:abs|absolute|absolut|absolu|absoluta|absoluto|a)\)?$")
_GAUGE = re.compile(
    r"^(?P<unit>[a-z/]+?)[ ._(]*(?:gauge|gage|rel|relative|relativ|relatif|relativa|ü|ue|g|man|manometrica)\)?$"
)
_PRESSURES = frozenset(("kpa", "pa", "hpa", "mbar", "bar", "psi"))
# too short to be taken for a unit when it merely stands last in a heading
_ONLY_BRACKETED = frozenset(("c", "f", "k", "n", "v", "w", "g", "m", "h", "a", "in", "min"))
_AFTER_MARK = frozenset(("c", "f", "k", "n", "v", "w"))
_BRACKETED = re.compile(
    r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*(?:\([^()]*\))?)\))\s*$", re.DOTALL
)


@dataclass(frozen=True)
class UnitWord:
    """A unit read from text; `reference` is 'absolute' or 'gauge' where a pressure unit says so, else ''."""

    identifier: str
    reference: str = ""


def read_unit(text: str) -> UnitWord | None:
    """The unit that a text is, or None. Case, dots, stars and spaces between the parts do not matter."""
    plain = _plain(text)
    if plain in _IDENTIFIERS:
        return UnitWord(_IDENTIFIERS[plain])
    for pattern, reference in ((_ABSOLUTE, "absolute"), (_GAUGE, "gauge")):
        match = pattern.match(text.strip().lower())
        if match and match["unit"] in _PRESSURES:
            return UnitWord(match["unit"], reference)
    return None


def is_unit_row(cells: Sequence[str]) -> bool:
    """Are most cells that are not blank units (in brackets or not), at least one of them for certain?"""
    given = [cell.strip().strip("[]()<>").strip() for cell in cells]
    given = [cell for cell in given if cell]
    known = sum(read_unit(cell) is not None for cell in given)
    spare = sum(cell.lower() in _NO_UNIT for cell in given)
    return known > 0 and known + spare >= 0.6 * len(given)


def split_heading(heading: str) -> tuple[str, str]:
    """A heading → (its name, the unit it states, as written, or "").

    Square brackets always hold a unit; round ones, a slash, the word "in", the last word and the part after the last
    underscore do where they read as one.
    """
    match = _BRACKETED.match(heading)
    if match and match["square"] is not None:
        return match["name"].strip(), match["square"].strip()
    if match and match["name"].strip() and read_unit(match["round"]) is not None:
        return match["name"].strip(), match["round"].strip()
    for name, unit, allowed in _endings(heading):
        word = read_unit(unit)
        if name.strip() and word is not None and (allowed is None or _plain(unit) in allowed or not _is_short(unit)):
            return name.strip(" /,:;-_"), unit.strip()
    return heading.strip(), ""


def _endings(heading: str) -> Iterator[tuple[str, str, frozenset[str] | None]]:
    """Ways to cut a heading in two, the surest first, each with the short units that it may end in (None: any)."""
    lowered = heading.lower()
    if " in " in lowered:
        at = lowered.rindex(" in ")
        yield heading[:at], heading[at + 4 :], None
    words = heading.split(" ")
    for count in (3, 2, 1):
        if len(words) > count:
            yield " ".join(words[:-count]), " ".join(words[-count:]), frozenset()
    for at, character in enumerate(heading):
        if character == "/":
            yield heading[:at], heading[at + 1 :], _AFTER_MARK
    parts = heading.split("_")
    for count in (2, 1):
        if len(parts) > count:
            yield "_".join(parts[:-count]), "_".join(parts[-count:]), _AFTER_MARK


def _is_short(unit: str) -> bool:
    return _plain(unit) in _ONLY_BRACKETED


def _plain(text: str) -> str:
    text = text.strip().lower().replace("λ", "lambda").replace("⁻¹", "-1").replace("º", "°").replace("^", "")
    text = re.sub(r"[ ·⋅∙*.\u00a0]", "", text)
    # a dash only joins two units (N-m, ft-lb); before a figure it is an exponent
    return re.sub(r"-(?!\d)", "", text) if len(text) > 1 else text
