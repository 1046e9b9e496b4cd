"""Whole numbers written in **words**, as totals of packing lists sometimes are: read in ten languages, or left as they are.

The tables are the languages' own cardinal numbers up to 999,999 (common knowledge, no source); a run of words is read in the one
language that knows most of it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

__all__ = ["in_figures"]

_Words = Mapping[str, int]


def _table(text: str, start: int = 0, step: int = 1) -> dict[str, int]:
    """Words in order; several for one number are parted by a stroke."""
    return {word: start + step * n for n, words in enumerate(text.split()) for word in words.split("|")}


_ADDED: Mapping[str, _Words] = {
    "en": _table(
        "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
        "eighteen nineteen"
    ) | _table("twenty thirty forty|fourty fifty sixty seventy eighty ninety", 20, 10),
    "es": _table(
        "cero un|uno|una dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciseis diecisiete "
        "dieciocho diecinueve veinte veintiun|veintiuno|veintiuna veintidos veintitres veinticuatro veinticinco veintiseis "
        "veintisiete veintiocho veintinueve"
    ) | _table("treinta cuarenta cincuenta sesenta setenta ochenta noventa", 30, 10)
    | _table("cien|ciento doscientos|doscientas trescientos|trescientas cuatrocientos|cuatrocientas quinientos|quinientas "
             "seiscientos|seiscientas setecientos|setecientas ochocientos|ochocientas novecientos|novecientas", 100, 100),
    "fr": _table(
        "zero un|une deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize"
    ) | _table("vingt|vingts trente quarante cinquante soixante septante huitante|octante nonante", 20, 10),
    "pt": _table(
        "zero um|uma dois|duas tres quatro cinco seis sete oito nove dez onze doze treze catorze|quatorze quinze "
        "dezesseis|dezasseis dezessete|dezassete dezoito dezenove|dezanove"
    ) | _table("vinte trinta quarenta cinquenta sessenta setenta oitenta noventa", 20, 10)
    | _table("cem|cento duzentos|duzentas trezentos|trezentas quatrocentos|quatrocentas quinhentos|quinhentas "
             "seiscentos|seiscentas setecentos|setecentas oitocentos|oitocentas novecentos|novecentas", 100, 100),
    "it": _table(
        "zero uno|un|una due tre quattro cinque sei sette otto nove dieci undici dodici tredici quattordici quindici sedici "
        "diciassette diciotto diciannove"
    ) | _table("venti|vent trenta|trent quaranta|quarant cinquanta|cinquant sessanta|sessant settanta|settant ottanta|ottant "
               "novanta|novant", 20, 10),
    "de": _table(
        "null ein|eins|eine|einen zwei drei vier funf sechs sieben acht neun zehn elf zwolf dreizehn vierzehn funfzehn sechzehn "
        "siebzehn achtzehn neunzehn"
    ) | _table("zwanzig dreissig|dreißig vierzig funfzig sechzig siebzig achtzig neunzig", 20, 10),
    "nl": _table(
        "nul een|eens twee drie vier vijf zes zeven acht negen tien elf twaalf dertien veertien vijftien zestien zeventien "
        "achttien negentien"
    ) | _table("twintig dertig veertig vijftig zestig zeventig tachtig negentig", 20, 10),
    "id": _table("nol satu dua tiga empat lima enam tujuh delapan sembilan sepuluh sebelas") | {"seratus": 100, "seribu": 1000},
    "vi": _table("khong mot hai ba bon|tu nam|lam sau bay tam chin"),
    "zh": _table("零|〇 一|壹|壱 二|贰|貳|弐|两|兩 三|叁|參|参 四|肆 五|伍 六|陆|陸 七|柒 八|捌 九|玖"),
}  # fmt: skip
_TIMES: Mapping[str, _Words] = {
    "en": {"hundred": 100, "thousand": 1000}, "es": {"mil": 1000},
    "fr": {"cent": 100, "cents": 100, "mille": 1000, "mil": 1000}, "pt": {"mil": 1000},
    "it": {"cento": 100, "mille": 1000, "mila": 1000}, "de": {"hundert": 100, "tausend": 1000},
    "nl": {"honderd": 100, "duizend": 1000}, "id": {"puluh": 10, "ratus": 100, "ribu": 1000},
    "vi": {"muoi": 10, "tram": 100, "nghin": 1000, "ngan": 1000},
    "zh": {"十": 10, "拾": 10, "百": 100, "佰": 100, "千": 1000, "仟": 1000, "万": 10_000, "萬": 10_000},
}  # fmt: skip
_AND: Mapping[str, frozenset[str]] = {
    "en": frozenset({"and"}), "es": frozenset({"y"}), "fr": frozenset({"et"}), "pt": frozenset({"e"}), "it": frozenset({"e"}),
    "de": frozenset({"und"}), "nl": frozenset({"en"}), "id": frozenset(), "vi": frozenset({"linh", "le"}), "zh": frozenset(),
}  # fmt: skip
_JOINED = ("it", "de", "nl", "zh")
"""Languages that write a number as one word."""
_WORD = re.compile(r"[^\W\d_]+")
_IDEOGRAPHS = re.compile("[" + "".join((*_ADDED["zh"], *_TIMES["zh"])) + "]{2,}|[十百]")
_BETWEEN = re.compile(r"[\s\-,]{1,3}")
_TEENS = {"id": "belas"}


def in_figures(text: str) -> str:
    """The text with its numbers in words as figures: ``six hundred and twelve pieces`` → ``612 pieces``.

    Parameters
    ----------
    text
        Small letters without accents, as :func:`intake.packing.row_words.bare` gives them.

    Examples
    --------
    >>> in_figures("total seiscientas doce piezas")
    'total 612 piezas'
    """
    best: list[tuple[int, int, int]] = []
    most = 0
    for language in _ADDED:
        runs = _runs(text, language)
        words = sum(weight for _, _, _, weight in runs)
        if words > most:
            best, most = [(start, end, value) for start, end, value, _ in runs], words
    for start, end, value in reversed(best):
        text = f"{text[:start]}{value}{text[end:]}"
    return text


def _runs(text: str, language: str) -> list[tuple[int, int, int, int]]:
    """(start, end, value, words) of every number in words of this language."""
    found: list[tuple[int, int, int, int]] = []
    start = end = read = 0
    run: list[str] = []
    for word in (_IDEOGRAPHS if language == "zh" else _WORD).finditer(text):
        parts = _parts(word[0], language)
        joined = bool(run) and bool(_BETWEEN.fullmatch(text[read : word.start()]))
        if run and (not parts or not joined):
            _close(found, run, start, end, language)
            run = []
        if parts and (run or parts[0] not in _AND[language]):
            start = start if run else word.start()
            run += parts
            read = word.end()
            end = read if parts[-1] not in _AND[language] else end
    if run:
        _close(found, run, start, end, language)
    return found


def _close(found: list[tuple[int, int, int, int]], run: list[str], start: int, end: int, language: str) -> None:
    while run and run[-1] in _AND[language]:
        run.pop()
    if run:
        found.append((start, end, _value(run, language), len(run)))


def _parts(word: str, language: str) -> list[str]:
    """A word as number words of the language; empty where it is none."""
    known = {*_ADDED[language], *_TIMES[language], *_AND[language], _TEENS.get(language, "")}
    if word in known:
        return [word]
    if language not in _JOINED or len(word) > 60:
        return []
    parts: list[str] = []
    while word:
        head = max((one for one in known if one and word.startswith(one)), key=len, default="")
        if not head:
            return []
        parts.append(head)
        word = word[len(head) :]
    return parts


def _value(run: Sequence[str], language: str) -> int:
    whole = group = last = 0
    for word in run:
        if word in _AND[language]:
            continue
        if word == _TEENS.get(language):
            group += 10
        elif word in _TIMES[language]:
            by = _TIMES[language][word]
            if by >= 1000:
                whole, group, last = whole + max(group + last, 1) * by, 0, 0
                continue
            if by == 100 and 0 < group < 100:  # twenty-one hundred
                group, last = (group + last) * by, 0
            else:
                group, last = group + max(last, 1) * by, 0
            continue
        else:
            value = _ADDED[language][word]
            if language == "fr" and value == 20 and last == 4:
                group, last = group + 80, 0
            else:
                group, last = group + last, value
            continue
        group, last = group + last, 0
    return whole + group + last
