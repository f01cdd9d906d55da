"""What a column's title says it is, in English and the main languages of Europe.

Question: which quantity does a title name? Input: a title without its unit. Output: a name of `record.QUANTITIES`, one
of the moisture quantities that become a dew point, or None. Only words of the trade and of everyday language are used.
"""

from __future__ import annotations

import re

from diagnostics.log.time_words import plain
from diagnostics.log.units import DENSITY, FLOW, PERCENT, POWER, PPM, PRESSURE, RATIO, TEMPERATURE, Unit

DEW_POINT = "dew_point"
RELATIVE_HUMIDITY, WATER_CONTENT, VAPOUR_PRESSURE = "relative_humidity", "water_content", "vapour_pressure"
MOISTURES = (DEW_POINT, RELATIVE_HUMIDITY, WATER_CONTENT, VAPOUR_PRESSURE)

_DEW_POINT = re.compile(
    r"dew ?po?i?n?t|\bdewp\b|\bdew\b|frost ?point|\bp ?d ?p\b|\badp\b|\btd\d?\b|\bt ?dew\b|\bdp\b|\btp\b|"
    r"\bdtp\b|\bpdt\b|taupunkt|drucktaupunkt|frostpunkt|reifpunkt|\btaup\b|"
    r"rosee|point de givre|punto de rocio|\brocio\b|rugiada|orvalho|dauwpunt|daggpunkt|duggpunkt|dugpunkt|kastepiste|"
    r"punkt rosy|\brosy\b|rosny bod|rosneho|harmatpont|punct de roua|\broua\b|rosisc|rosist|rasos|kastepunkt|"
    r"rasas punkt|оросяване|точк\w* росы|точк\w* роси|росы|σημειο δροσου|δροσου|ciy nokta|cig nokta|露点|이슬점|노점"
)
_WEAK_DEW_POINT = re.compile(r"^(.* )?(dp|tp|td\d?|dew)( .*)?$")
_NOT_MEASURED = re.compile(
    r"set ?point|sollwert|consigne|\blimit\b|grenz|alarm|\bstatus\b|\bmask\b|\bflag\b|quality|error|fehler|"
    r"spread|depression|difference|differenz|\bdelta\b|\bmin(im\w*|i)?\b|\bma(x|ks|ss)(im\w*|i)?\b|hochstw|tiefstw|"
    r"std ?dev|deviation|previous day|"
    r"vergangener tag|battery|batterie|setting"
)
_HUMID = re.compile(
    r"\brh\b|\brf\b|\bhr\b|\bur\b|\brv\b|\brel ?hum\w*|humid\w*|feucht\w*|humedad|umidit\w*|umidade|vochtig\w*|fukt\w*|"
    r"fugt\w*|kosteus|wilgotn\w*|vlhkost\w*|paratart\w*|nedves\w*|umiditat\w*|влажн\w*|волог\w*|υγρασια|nem\b|湿度"
)
_ABSOLUTE_HUMID = re.compile(r"\babs\w*|\bah\b|mixing|water content|wassergehalt|teneur|moisture|contenuto|contenido")
_VAPOUR = re.compile(
    r"vapou?r ?press|dampfdruck|partialdruck|pression de vapeur|presion de vapor|tensione di vapore|\bvp\b|dampspanning"
)
_WATER = re.compile(r"moist|water|wasser|\bh2o\b|humid|feucht|eau\b|agua|acqua|vocht|ppm|vattenhalt|wilgo|vapou?r")
_OTHER_GAS = re.compile(
    r"\bco2?\b|\bnox?\b|\bno2\b|\bo2\b|\bo3\b|\boil\b|\bol\b|partic|partik|\bvoc\b|hydrocarbon|nmhc|c6h6"
)
_PURGE = re.compile(
    r"purge|spul\w*luft|spul|regenerationsluft|regenerating air|purga|spurgo|lavaggio|spoel\w*|renseluft|"
    r"przedmuch|продувк"
)
_FLOW = re.compile(
    r"flow ?(rate|meter)?|volumenstrom|durchfluss|luftmenge|luftverbrauch|volumestroom|debiet|\bdebit\b|caudal|portata|"
    r"vazao|flode|stromning|gjennomstromning|virtaus|przeplyw|prutok|terfogataram|aramlas|расход|витрата|παροχη|\bdebi\b|"
    r"air consumption|air demand|流量|유량|liefermenge|fordermenge"
)
_PRESSURE = re.compile(
    r"\bpress\w*|druck\b|\w*druck\b|pression|presion|pressione|pressao|\bdruk\b|\btryck\b|\btrykk?\b|paine|cisnienie|"
    r"\btlak\b|nyomas|presiune|давлени\w*|тиск|πιεση|basinc|圧力|压力|압력|\bpres\b|\bp ?line\b|\bp\d?\b"
)
_NOT_LINE_PRESSURE = re.compile(
    r"switch|\bdv\b|diff\w*|\bdp\b|drop|delta|oil|\bol|water|wasser|vapou?r|dampf|abfall|perte|"
    r"suction|ansaug|sea ?level"
)
_TEMPERATURE = re.compile(
    r"temp\w*|\w*temperatur\w*|\bt\d?\b|\btin\b|\btout\b|\bt ?(in|inlet|air|amb|ambient|gas|out|outlet|line|ein|aus)\b|"
    r"lampotila|teplota|homerseklet|\bhom\w*|температур\w*|θερμοκρασια|sicaklik|温度|온도|tdry"
)
_INLET = re.compile(
    r"\bin\b|\btin\b|inlet|\bein\w*|entry|entrance|entree|entrada|ingresso|ingang|inlopp|inlop|indlob|innlop|tulo|wlot\w*|vstup\w*|"
    r"bemeneti|belepo|intrare|вход\w*|вхід|εισοδ\w*|giris|upstream|before|\bvor\b|avant|antes|prima|入口|wet air|feed"
)
_AMBIENT = re.compile(
    r"ambient\w*|\bamb\b|\broom\b|raum\w*|umgebung\w*|surround\w*|ambian\w*|omgeving\w*|omgivning\w*|rumstemp\w*|"
    r"otoczeni\w*|okoli|okolni|kornyezet\w*|outdoor|aussen\w*|exterieur\w*|esterna|exterior|окружающ\w*|ortam|hall\w*|"
    r"ympariston|plant ?room|compressor ?room|\bext\b"
)
_OTHER_TEMPERATURE = re.compile(
    r"\boil\b|\bol\w*temp|\bol\b|bearing|lager\w*|motor|winding|wicklung|logger|internal|board|cpu|coolant|cooling|kuhl\w*|"
    r"exhaust|abluft|heater|heizung|heizer|\bbed\b|regen\w*|vessel|chp\w*|\bcm\d+|\bcr\d+|element|steam|tower\w*|turm|behalter|daily|taglich|"
    r"mittlere|boden|soil|wind"
)
_TOWER = re.compile(
    r"tower\w*|turm\w*|behalter\w*|\bkolonne\w*|\btours?\b|colonne|\btorre\w*|columna|colonna|\btoren\w*|\btorn\w*|wieza|"
    r"kolumna|\bvez\b|vessel|active (bed|column|chamber)|drying (bed|column|chamber|side)|adsorber\w*|\bchamber|kammer|"
    r"башн\w*|колонн\w*|adsorbeur"
)
_TOWER_BESIDE = re.compile(r"temp|druck|press|dew|taupunkt|flow|valve|ventil|rosee|bar|kpa|switch ?count|cycles?")
_POWER = re.compile(
    r"power|\w*leistung|puissance|potencia|potenza|vermogen|\beffekt\b|\bmoc\b|vykon|teljesitmeny|putere|мощност\w*|"
    r"потужн\w*|ισχυς|\bguc\b|teho|消費電力|功率|\bkw\b"
)
_MAIN = {
    DEW_POINT: re.compile(
        r"pressure dew|drucktaupunkt|\bpdp\b|outlet|austritt|ausgang|sortie|salida|uscita|tryckdagg|trykdug|painekaste"
    ),
    "pressure": re.compile(r"line|netz|outlet|working|betrieb|system|reseau|header|air|druckluft|tank|receiver"),
    "temperature": re.compile(r"air|luft|gas|sample|probe|outlet|dry ?bulb|line"),
}
_LESSER = {
    DEW_POINT: re.compile(
        r"inlet|eintritt|eingang|ambient|atmos\w*|\badp\b|umgebung|raum|before|entree|entrada|ingresso"
    ),
    "pressure": re.compile(r"baro\w*|atmos\w*|ambient|luftdruck|station|tower|vessel|turm|behalter|regen|panel|inlet"),
    "temperature": re.compile(r"wet ?bulb|feucht|tower|turm"),
}
ATMOSPHERIC = re.compile(r"atmos\w*|\badp\b|\bat ?m\b|entspannt|atmospheric")
PRESSURISED = re.compile(
    r"pressure dew|\bpdp\b|drucktaupunkt|\bdtp\b|"
    r"sous pression|a presion|in pressione|sob pressao|tryckdagg|trykdug|painekaste|druk\w*dauw|cisnieniow"
)


def quantity_of(title: str, unit: Unit | None) -> str | None:
    """Quantity that a title with its unit names; None where it names none that is used here.

    Parameters
    ----------
    title : str
        Without its unit.
    unit : Unit or None

    Returns
    -------
    str or None
        One of `record.QUANTITIES` or `MOISTURES`.
    """
    text = plain(title)
    kind = unit.kind if unit is not None else None
    if _NOT_MEASURED.search(text):
        return None
    if kind in (None, TEMPERATURE) and _DEW_POINT.search(text):
        # The Italian "in pressione" speaks of the line, not of an inlet.
        if _INLET.search(PRESSURISED.sub(" ", text)):
            return None
        # "DP" and "TP" are a differential pressure or a test point as often as a dew point: the unit has to say so.
        if not _WEAK_DEW_POINT.fullmatch(text) or re.search(r"dew ?po?i?n?t|pdp", text) or kind == TEMPERATURE:
            return DEW_POINT
        return DEW_POINT if text in ("td", "dew", "dew c") else None
    return _moisture(text, kind) or _flowing(text, kind) or _line(text, kind) or _rest(text, kind)


def _moisture(text: str, kind: str | None) -> str | None:
    if _OTHER_GAS.search(text):
        return None
    if kind in (PPM, DENSITY, RATIO):
        return (
            WATER_CONTENT
            if not text or _WATER.search(text) or _HUMID.search(text) or _ABSOLUTE_HUMID.search(text)
            else None
        )
    if kind in (None, PRESSURE) and _VAPOUR.search(text):
        return VAPOUR_PRESSURE
    if kind in (None, PERCENT) and _HUMID.search(text):
        return RELATIVE_HUMIDITY if not _ABSOLUTE_HUMID.search(text) else (WATER_CONTENT if kind is None else None)
    if kind is None and _ABSOLUTE_HUMID.search(text) and _WATER.search(text + " moist" * (text == "ah")):
        return WATER_CONTENT
    return None


def _flowing(text: str, kind: str | None) -> str | None:
    if kind not in (None, FLOW) or re.search(r"wind|water|wasser|cooling|kuhl|impuls", text):
        return None
    if _PURGE.search(text):
        return "purge_flow" if kind == FLOW or _FLOW.search(text) or "luft" in text or text == "purge" else None
    return "flow" if _FLOW.search(text) or kind == FLOW else None


def _line(text: str, kind: str | None) -> str | None:
    if kind not in (None, PRESSURE):
        return None
    if kind == PRESSURE and not text:
        return "pressure"
    if _NOT_LINE_PRESSURE.search(text) or _OTHER_TEMPERATURE.search(text):
        return None
    if re.fullmatch(r".*\bp\d?\b.*", text) and kind is None and not re.search(r"press|druck", text):
        return "pressure" if text in ("p", "p line") else None
    return "pressure" if _PRESSURE.search(text) else None


def _rest(text: str, kind: str | None) -> str | None:
    if kind is None and _TOWER.search(text) and not _TOWER_BESIDE.search(text):
        return "tower"
    if kind in (None, TEMPERATURE) and (_TEMPERATURE.search(text) or kind == TEMPERATURE):
        if _OTHER_TEMPERATURE.search(text):
            return None
        if _AMBIENT.search(text):
            return "ambient_temperature"
        return "inlet_temperature" if _INLET.search(text) else "temperature"
    if kind == POWER or (kind is None and _POWER.search(text)):
        return None if re.search(r"supply|factor|faktor|versorgung|mode", text) else "power"
    return None


def rank(title: str, quantity: str) -> int:
    """How well a title fits among several of one quantity; lower is better."""
    text = plain(title)
    main, lesser = _MAIN.get(quantity), _LESSER.get(quantity)
    return (2 if lesser and lesser.search(text) else 1) - (1 if main and main.search(text) else 0)


_STATISTIC = re.compile(
    r"min(im\w*|i)?|ma(x|ks|ss)(im\w*|i)?|mean|av(g|e|r|er|erage)|mittel(wert)?|mitt|m?w|moy(enne)?|med(ia|io|iana|ie|el)?|"
    r"prom(edio)?|gem(iddelde)?|gjennomsnitt|snitt|medelvarde|middel|keskiarvo|ka|sr(ednia)?|prumer|atlag|std( ?dev)?|"
    r"sigma|median\w*|среднее|мин|макс|last|actual|akt(uell)?"
)


def is_statistic(title: str) -> bool:
    """Whether a title names only which value of an interval a column holds, such as its mean."""
    return bool(_STATISTIC.fullmatch(plain(title)))
