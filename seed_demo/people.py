"""The shop, its staff and customers; none of them exists. Telephone numbers lie in ranges kept free for fiction."""

from dataclasses import dataclass

SHOP_NAME = "Quillhaven Motor Works"
SHOP_ADDRESS = "Unit 4, Old Tannery Yard, Quillhaven"
TIME_ZONE = "Europe/Madrid"


@dataclass(frozen=True)
class Person:
    """Somebody who works here."""

    role: str
    sign_in_name: str
    full_name: str


OWNER = Person("owner", "ines.marchetti", "Inés Marchetti")
TUNER = Person("tuner", "davor.lindqvist", "Davor Lindqvist")
DESK = Person("front_desk", "oona.farrell", "Oona Farrell")
STAFF = (OWNER, TUNER, DESK)


@dataclass(frozen=True)
class Customer:
    """Somebody whose car it is."""

    full_name: str
    phone: str
    email: str
    notes: str = ""


_NAMES = (
    "Tomasz Wyrwicz", "Helga Brandvold", "Ruairí Mac Cába", "Núria Castellfort", "Jean-Loup Tessandier",
    "Adaeze Okpalauba", "Benedikt Aschauer", "Marisol Etxaniz", "Piet van Oosterzee", "Liisa Kallioperä",
    "Graham Tunnicliffe", "Yasemin Karagözlü", "Séverine Dhuicque", "Arvid Hällgren", "Pilar Monsalvatje",
    "Dmitri Vashchenko", "Rosalind Quaife", "Emeka Nwachukwu", "Ottilie Krähenbühl", "Iñaki Urrestarazu",
    "Catrin Llewellyn-Rees", "Marco Bellandini", "Freya Skovgaard", "Hamish Auchterlonie", "Beatriz Valdoviño",
    "Kenji Morikubo", "Élodie Vaucanson", "Sanne Dijkhuizen", "Oskar Przybylak", "Teresa Goikoetxea",
    "Wilfred Entwistle", "Amparo Cifuentes", "Lothar Zwingli", "Niamh Ó Dálaigh",
)  # fmt: skip
_NOTES = {
    2: "Prefers to be rung after five.",
    7: "Track days; wants the file as well as the page.",
    12: "Two cars with us.",
    20: "Club secretary: sends people our way.",
}


def customers() -> list[Customer]:
    """Everybody who came this year, in a fixed order."""
    return [
        Customer(name, f"+44 1632 960{100 + index}", _address(name), _NOTES.get(index, ""))
        for index, name in enumerate(_NAMES)
    ]


def _address(name: str) -> str:
    plain = name.lower().translate(str.maketrans("íúéìöüäåéñóâ", "iueiouaaenoa")).replace(" ", ".").replace("'", "")
    kept = "".join(letter for letter in plain if letter.isascii() and (letter.isalnum() or letter in ".-"))
    return f"{kept}@example.org"
