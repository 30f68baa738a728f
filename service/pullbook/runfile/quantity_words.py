"""Words of headings in English, German, Spanish and French → quantities. Plain words of the trade only."""

import re
import unicodedata
from functools import lru_cache

from pullbook.late_methods import dataclass

_SPEED = r"(speed|rpm|upm|omega|velocity|drehzahl|geschwindigkeit|vitesse|velocidad|regimen?|revoluciones|tours|tr min)"
_ROLLER = r"(roller|roll|rolls|drum|rollen?|walzen?|rodillos?|rouleaux?|tambours?|tambor)"
_PULSES = r"(pulses?|impulse?|impulsions?|impulsos?|pulsos?|ticks?|encoder|counts?|zahler|zaehler)"
_BRAKE = (
    r"(brake|bremse?n?|brems|frein|freinage|freno|frenado|retarder|absorber|eddy current|wirbelstrombremse"
    r"|load ?cell|kraftmessdose|celda de carga|capteur de force)"
)
_TORQUE = r"(torque|drehmoment|moment|couple|par|momento)"
_FORCE = r"(force|kraft|fuerza|effort)"
_ENGINE = r"(engine|motor|moteur|crank|crankshaft|kurbelwellen?)"
_PRESSURE = r"(pressure|druck|pression|presion|press)"
_TEMPERATURE = r"(temp|temperature?|temperatur|temperatura|t)"
_MANIFOLD = (
    r"(manifold|map|saugrohr|ladedruck|lade|boost|intake|admission|admision|colector|collecteur"
    r"|suralimentation|soplado|sobrealimentacion)"
)
_MIXTURE = r"(lambda|afr|air fuel ratio|air fuel|luftzahl|luftverhaltnis|luft kraftstoff verhaltnis)"
TARGET = re.compile(
    r"\b(targets?|commanded|command|cmd|desired|demand|demanded|requested|setpoint|set point|soll|sollwert|ziel"
    r"|consigne|cible|objetivo|consigna|deseada?)\b"
)
ABSOLUTE = re.compile(r"\b(abs|absolute|absolut|absoluter|absolue?|absoluta|absoluto|map)\b")
GAUGE = re.compile(r"\b(gauge|gage|rel|relative|relativ|relativer|relatif|relativa|uberdruck|ueberdruck|manometrica)\b")
_NOT_MIXTURE = re.compile(
    r"\b(correction|corr|trim|regler|control|integrator|voltage|spannung|heater|heizung|status|error|fehler|adaption)\b"
)
# words that make a heading another thing than the rule it fits, and no reason to ask
_OTHERS = re.compile(
    r"\b(power|leistung|puissance|potencia|turbo|turbine|lader|fan|geblase|pump|pumpe|gearbox|getriebe|idle|leerlauf"
    r"|ratio|error|fehler|limit|max|maximum|minimum|average|mittel|raw|roh|before|pre|vor|avant|antes)\b"
)
_EXHAUST = re.compile(r"\b(exhaust|abgas|echappement|escape)\b")
TIME_OF_DAY = re.compile(r"\b(of day|clock|uhrzeit|heure|hora|date|datum)\b")


@dataclass(frozen=True)
class Rule:
    """Headings in which all of `words` stand, or the one word `compound`, mean `quantity`. `short`: headings that mean
    it only when they stand alone."""

    quantity: str
    words: tuple[str, ...] = ()
    short: str = ""
    compound: str = ""

    def fits(self, name: str) -> bool:
        """Does a folded name fit?"""
        if self.short and re.fullmatch(self.short, name):
            return True
        if self.compound and re.search(rf"\b({self.compound})\b", name):
            return True
        return bool(self.words) and all(re.search(rf"\b{word}\b", name) for word in self.words)


RULES = (
    Rule(
        "time_s",
        short=r"((elapsed|run|log|test|sample|rel|relative|absolute)? ?time( ?stamp)?( of day)?|t|clock( time)?"
        r"|(mess|lauf|uhr)? ?zeit(stempel)?|temps( ecoule)?|heure|horodatage|tiempo( transcurrido)?|hora"
        r"|marca de tiempo|date ?time|date time|datum zeit|datum uhrzeit)",
    ),
    Rule("roller", (_ROLLER, _SPEED), compound=r"(roller|drum|rollen|walzen)(speed|rpm|drehzahl|geschwindigkeit)"),
    Rule("roller_pulses", (_ROLLER, _PULSES), compound=r"(rollen|walzen)(impulse|zahler|zaehler)"),
    Rule(
        "engine_speed_rpm",
        (_ENGINE, _SPEED),
        r"regime",
        r"(engine|motor|kurbelwellen)(speed|rpm|drehzahl)|regimen( de giro)?( del)? motor",
    ),
    Rule(
        "brake_torque_nm",
        (_BRAKE, _TORQUE),
        compound=r"brems(dreh)?moment|par de fren(o|ado)|couple (de frein(age)?|resistant)",
    ),
    Rule("brake_force_n", (_BRAKE, _FORCE), r"(load ?cell|kraftmessdose|celda de carga)( ?1)?", r"bremskraft"),
    Rule(
        "throttle_pct",
        (r"(throttle|drosselklappen?|papillon|mariposa)",),
        compound=r"tps|drosselklappen(stellung|winkel|position)",
    ),
    Rule("lambda", (_MIXTURE,)),
    Rule("manifold", (_MANIFOLD, _PRESSURE), r"boost", r"map|ladedruck|saugrohr(absolut)?druck"),
    Rule(
        "intake_temperature_c",
        (r"(intake|inlet|charge air|charge|ansaugluft|ansaug|ladeluft|admission|admision)", _TEMPERATURE),
        compound=r"iat|mat|act|(ansaug|ladeluft|ansaugluft)temp(eratur)?",
    ),
    Rule(
        "coolant_temperature_c",
        (r"(coolant|water|kuhlmittel|kuehlmittel|kuhlwasser|kuehlwasser|refroidissement|eau|refrigerante|agua)",
         _TEMPERATURE),
        compound=r"ect|clt|cts|(kuhl|kuehl)(mittel|wasser)temp(eratur)?|wassertemp(eratur)?",
    ),
    Rule("oil_temperature_c", (r"(oil|ol|oel|huile|aceite)", _TEMPERATURE), compound=r"(ol|oel)temp(eratur)?"),
    Rule(
        "exhaust_temperature_c",
        (r"(exhaust|exhaust gas|abgas|echappement|escape)", _TEMPERATURE),
        compound=r"egt|abgastemp(eratur)?",
    ),
    Rule(
        "ignition_advance_deg",
        (r"(ignition|spark|zund|allumage|encendido)", r"(advance|angle|timing|winkel|zeitpunkt|avance|angulo)"),
        r"(ignition|spark) ?(timing|advance|angle)|avance( a l ?allumage)?",
        r"zundwinkel|zuendwinkel|zundzeitpunkt",
    ),
    Rule("knock_retard_deg", (r"(knock|klopf|cliquetis|picado)", r"(retard|retardo|retrait|rucknahme)"),
         compound=r"klopf(ruck|rueck)nahme"),
    Rule(
        "fuel_pressure_kpa",
        (r"(fuel|fuel rail|kraftstoff|benzin|carburant|essence|combustible)", _PRESSURE),
        compound=r"(kraftstoff|benzin)druck",
    ),
    Rule(
        "vehicle_speed_m_s",
        (r"(vehicle|car|road|gps|fahrzeug|vehicule|vehiculo|coche)", _SPEED),
        compound=r"vss|fahrzeuggeschwindigkeit",
    ),
    Rule(
        "fuel_flow_g_s",
        (r"(fuel|kraftstoff|carburant|combustible)", r"(flow|durchfluss|debit|caudal|mass flow|massenstrom)"),
    ),
    Rule(
        "air_flow_g_s",
        (r"(air|luft|masse d air|aire)", r"(flow|mass|masse|massenstrom|debit|caudal|mass flow)"),
        compound=r"maf|luftmasse",
    ),
    Rule("battery_v", (r"(battery|batterie|bateria|bord)", r"(voltage|volts?|spannung|tension|voltaje)"),
         r"(batterie|bord)spannung|v ?batt?|u ?batt?"),
)  # fmt: skip

ANY_SPEED = re.compile(rf"(wheel )?{_SPEED}|v|n")
ANY_TORQUE = re.compile(rf"{_TORQUE}")
ANY_FORCE = re.compile(rf"{_FORCE}")
ANY_PULSES = re.compile(rf"{_PULSES}( {_PULSES})?")
RUNNING = re.compile(
    r"\b(running|total|cumulative|cumulated|sum|gesamt|summe|kumuliert|cumule|cumul|acumulado|totales)\b"
)
PER_SAMPLE = re.compile(
    r"\b(per sample|each sample|increments?|delta|difference|pro abtastung|je abtastung|inkremente?|par echantillon"
    r"|por muestra|incremento)\b"
)


def fold(text: str) -> str:
    """A heading in plain lower-case words: accents and case folded, camel case parted, marks made spaces."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.replace("λ", " lambda ").replace("Λ", " lambda "))
    text = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    text = "".join(character for character in text if not unicodedata.combining(character)).lower()
    return " ".join(re.sub(r"[^a-z0-9]+", " ", text).split())


@lru_cache(maxsize=1024)  # a logger writes the same headings over every file
def quantities_of(name: str) -> tuple[str, ...]:
    """The quantities whose words a folded heading has; none where a further word makes it another thing."""
    fitting = [rule.quantity for rule in RULES if rule.fits(name)]
    if "lambda" in fitting:
        return () if _NOT_MIXTURE.search(name) else ("lambda",)
    if _OTHERS.search(name):
        return ()
    if TARGET.search(name):
        return ("boost_target_kpa",) if re.search(rf"\b{_MANIFOLD}\b", name) else ()
    if "manifold" in fitting and _EXHAUST.search(name):
        return ()
    if "brake_torque_nm" in fitting and re.search(rf"\b{_ENGINE}\b", name):
        return ()
    return tuple(fitting)
