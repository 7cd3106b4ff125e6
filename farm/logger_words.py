"""The words by which heads of logger files are told, in five languages, and how a head is read.

Ordinary words for time, date, temperature and pressure in English, German, French, Spanish and
Italian.
"""

import re

_WORD = re.compile(r"[^\W\d_]+")
_GLUED = re.compile(r"(?<=[a-z])(?=[CF](?![A-Za-z]))")
DEGREES = re.compile(r"[°º]\s?[cf]\b|\bdeg\.?\s?[cf]\b|[(\[]\s?[cf]\s?[)\]]")


def plain_head(cell: str) -> str:
    """Write a head so that its unit stands apart: “TempF” is “temp f”, “Temp_℉” “temp °f”."""
    plain = cell.replace("℉", "°F").replace("℃", "°C").replace("_", " ")
    return _GLUED.sub(" ", plain).lower()


def words_in(text: str) -> list[str]:
    """Find the words of a text: “Lfd. Nr” are “lfd” and “nr”."""
    return _WORD.findall(plain_head(text))


def _words(said: str) -> frozenset[str]:
    return frozenset(said.split())


TIME = _words(
    "time times timestamp datetime clock zeit uhrzeit uhr zeitpunkt zeitstempel heure hora tiempo "
    "temps elapsed dauer laufzeit durée duree duración duracion ora tempo durata"
)
SINCE_START = _words(
    "elapsed dauer laufzeit durée duree écoulé ecoule duración duracion transcurrido duration "
    "relative relativ trascorso durata"
)
DATE = _words("date datum fecha day tag jour día dia")
TEMPERATURE = _words(
    "temp temperature temperatures temperatur temperaturen température temperatura celsius "
    "fahrenheit"
)
PRESSURE = _words(
    "press pressure gauge druck überdruck pression presión presion pressione psi psig psia "
    "kpa mpa bar barg bara mbar hpa"
)
INDEX = _words("no nr n index id record lfd nummer número numero num row line zeile riga")
COUNTED = {
    word: unit
    for unit, words in {
        "ms": "ms millisecond milliseconds millisekunden millisecondes milisegundos millisecondi",
        "s": "s sec secs second seconds sek sekunde sekunden seconde secondes seg segundo segundos "
        "secondo secondi",
        "min": "min mins minute minutes minuten minuto minutos minuti",
        "h": "h hr hrs hour hours std stunde stunden heures horas ore",
    }.items()
    for word in words.split()
}
# Last lines that sum a file up: what they begin with.
SUMMARY = _words(
    "min max minimum maximum mean average avg mittel mittelwert durchschnitt moyenne moy media "
    "promedio mínimo minimo máximo maximo massimo end ende fin fine total totale count anzahl "
    "nombre número f"
)
