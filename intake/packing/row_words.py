"""Words by which a row shows that it is no line of animals, in the languages of the trade (general vocabulary, from memory)."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

__all__ = [
    "FREE",
    "NOTHING",
    "goods_word",
    "is_ditto",
    "not_sent_word",
    "says_free",
    "section_of",
    "sum_word",
    "waybill_in",
]

_SUM = re.compile(
    r"^\W*((grand|sub|page|box|sheet|carton|ctn|gesamt|zwischen|sous|sub|section|overall|order|invoice|shipment|"
    r"total|somme|sum|general|generale?)[\s\-/]*){0,2}"
    r"(totals?|subtotals?|subtotale?s?|subtotaux|totaux|totaal|totale|totali|totales|totais|sum|"
    r"totaal|razem|итого|всего|toplam|yhteensa|summa|totalt|합계|총계|소계|summe|zwischensumme|gesamtsumme|gesamt|endsumme|"
    r"somme|suma|soma|somma|jumlah|jumlah total|tong|tong cong|cong|(carried|brought) forward|[cb]/f|ubertrag|"
    r"合計|総計|小計|计|合计|总计|小计|總計|共计|共計|المجموع|الاجمالي|مجموع|اجمالي)(?=\W|\d|$|[^\x00-\x7f])",
    re.IGNORECASE,
)
_GOODS = re.compile(
    r"\b(box(es)? (charges?|fees?|costs?)|ice|gel ?packs?|cold packs?|heat ?packs?|air ?freight|freight|shipping|transport|"
    r"credit( note)?|refund|rebate|discount|gutschrift|rabatt|avoir|remise|descuento|desconto|sconto|"
    r"handling|packing (charges?|fee|cost)|packaging|"
    r"documents? (fee|charge)s?|documentation|insurance|styro(foam)? box(es)?|foam box(es)?|polystyrene box(es)?|"
    r"empty box(es)?|cites fee|permit fee|inspection fee|health certificate|awb fee|fuel surcharge|bank (fee|charge)s?|"
    r"oxygen|plastic bags?|dry rock|base rock|eis|kuhlakkus?|fracht|luftfracht|frachtkosten|versand|verpackung|"
    r"styroporbox(en)?|glace|fret|fret aerien|emballage|frais|hielo|flete|transporte|embalaje|"
    r"caja de poliestireno|gelo|frete|embalagem|"
    r"ghiaccio|trasporto|nolo|imballaggio|spedizione|es batu|ongkos kirim|biaya|pengiriman|kemasan|da lanh|cuoc van chuyen|"
    r"phi dong goi|phi van chuyen)\b|保冷剤|氷|運賃|送料|梱包費|発泡スチロール|冰袋|运费|運費|包装费|泡沫箱|手续费|ثلج|"
    r"شحن|تغليف",
    re.IGNORECASE,
)
_NOT_SENT = re.compile(
    r"\b(cancel(l?ed)?|back[- ]?order(ed)?|b/o|out of stock|oos|substitut(e|ed|ion)|"
    r"replaced (by|with)|replacements?|sub\.? for|subst\.?|replacement for|"
    r"not (shipped|sent|available|packed)|unavailable|short[- ]?shipped|sold out|to follow|next shipment|"
    r"storniert|nicht lieferbar|nachlieferung|ersatz fur|annule|remplace|en rupture|rupture|"
    r"cancelad[oa]s?|agotado|sustituid[oa]|"
    r"sem estoque|esgotado|substituid[oa]|annullat[oa]|esaurito|sostituit[oa]|dibatalkan|batal|kosong|stok habis|diganti|"
    r"da huy|huy|het hang|thay the)\b|キャンセル|欠品|取消|代替|缺货|缺貨|替代|已取消|ملغ[ىي]|بديل|غير متوفر",
    re.IGNORECASE,
)
FREE = re.compile(
    r"^\W*(f\.?o\.?c\.?|free( of charge)?|free goods|n/?c|no charge|gratis|gratuit|kostenlos|bonus|sin cargo|omaggio|"
    r"mien phi|無料|サービス|免费|免費|赠送|مجاني|مجانا)\W*$",
    re.IGNORECASE,
)
NOTHING = re.compile(
    r"^\W*(-+|–|—|nil|none|n/?a|zero|oos|keine|aucun|nada|nessuno|khong|なし|无|無)\W*$", re.IGNORECASE
)
_DITTO = re.compile(
    r"^\W*(\"+|''+|〃+|”+|“+|″+|ditto|do|idem|id|same|same as above|s\.?a\.?a|dito|ebenso|igual|idem ci-dessus|sda|"
    r"sama|nhu tren|同上|々|كما سبق|أيضا)\W*$|^[\"'”“″〃\s\-–—.,]*[\"”“″〃]+[\"'”“″〃\s\-–—.,]*$",
    re.IGNORECASE,
)
_WAYBILL = re.compile(r"(?<!\d)(\d{3})[- ]?(\d{4})[ ]?(\d{4})(?!\d)", re.ASCII)
_BOX_WORDS = (
    r"box(?:es)?|ctns?|cartons?|caja|caixa|karton|kiste|colis|boite|scatola|cassa|collo|boks|koli|dus|thung|styro(?:foam)?|"
    r"箱|صندوق|الصندوق|كرتون"
)
_BOX = re.compile(
    rf"^\W*(?:no\.?\s+|n[ro°º]\.?\s*)?(?:{_BOX_WORDS})\s*(?:no|nos|nr|num|numero|number|nomor|so|n|番号|号|號|رقم)?[\s.:#°º\-]*"
    r"([a-z]{0,3}\d{1,4}(?:\s*(?:-|–|—|to|bis|a)\s*[a-z]{0,3}\d{1,4})?|"
    r"[a-z])(?![\w])\s*(?:(?:of|von|de|di|/)\s*\d{1,4})?(.*)$",
    re.IGNORECASE,
)
_BOX_JA = re.compile(r"^\W*第?\s*(\d{1,4})\s*(?:号|番)?\s*箱(.*)$")
_PERMIT = re.compile(
    r"^\W*(?:(?:export|cites|import)\s*)*(?:permit|permits|permis|permiso|permesso|licen[cs]e|"
    r"licenca|genehmigung|cites|izin|giay phep|"
    r"許可(?:書|証)?|许可证|許可證|تصريح)\s*(?:cites)?\s*(?:no|nr|number|n|so|番号|号|"
    r"رقم)?[\s.:#°º]+([a-z0-9][\w/.\-]*\d[\w/.\-]*)\s*$",
    re.IGNORECASE,
)
_COUNT_IN = re.compile(
    r"(?<![\w.,/-])(\d{1,6})\s*(?:pcs?|pieces?|animals?|heads?|stuck|stk|ekor|piezas|pecas|pezzi|匹|只|尾|con)\b", re.I
)


def bare(text: str) -> str:
    """A text as its words are looked for: without accents, small ``đ`` as ``d``."""
    if text.isascii():
        return text
    decomposed = unicodedata.normalize("NFKD", text[:400].replace("đ", "d").replace("Đ", "D").replace("ß", "ss"))
    return "".join(sign for sign in decomposed if not unicodedata.combining(sign))


@lru_cache(maxsize=8192)
def sum_word(text: str) -> bool:
    """Whether a text begins as the label of a sum does."""
    return len(text) <= 120 and bool(_SUM.match(bare(text)))


@lru_cache(maxsize=8192)
def goods_word(text: str) -> str:
    """The word by which a text names goods that travel with animals and are none; empty when there is none."""
    found = _GOODS.search(bare(text[:120]))
    return found[0] if found else ""


@lru_cache(maxsize=8192)
def not_sent_word(text: str) -> str:
    """The word by which a row says that it was cancelled, is owed, or was replaced; empty when it does not."""
    found = _NOT_SENT.search(bare(text[:200]))
    return found[0].lower() if found else ""


def says_free(text: str) -> bool:
    """Whether a price says that nothing is charged."""
    return bool(FREE.match(bare(text)))


def is_ditto(text: str) -> bool:
    """Whether a cell stands for the one above it."""
    return len(text) <= 20 and bool(_DITTO.match(text) or _DITTO.match(bare(text)))


def waybill_in(text: str) -> str:
    """The air waybill number in a text, digits only; empty when there is none."""
    found = _WAYBILL.search(text[:200])
    return "".join(found.groups()) if found else ""


def section_of(texts: list[str]) -> dict[str, str]:
    """What a row says of the lines below it: ``boxes``, ``permit``, and ``stated`` animals; empty when it says nothing.

    ``BOX NO. 1``, ``Box`` beside ``1``, ``CITES permit: XX-0001``.
    """
    if not texts or len(texts) > 4:
        return {}
    whole = bare(" ".join(texts))[:200]
    found: dict[str, str] = {}
    for part in (bare(text) for text in (whole, *texts)):
        box = _BOX.match(part) or _BOX_JA.match(part)
        if box and "boxes" not in found and _only_counts(box[2]):
            found["boxes"] = box[1].strip()
            stated = _COUNT_IN.search(box[2])
            if stated:
                found["stated"] = stated[1]
        permit = _PERMIT.match(part)
        if permit and "permit" not in found:
            found["permit"] = permit[1]
    return found


def _only_counts(rest: str) -> bool:
    """Whether what follows a box number adds nothing but a count, a weight or a remark in brackets."""
    left = _COUNT_IN.sub(" ", rest)
    left = re.sub(r"\(.*?\)|\d+([.,]\d+)?\s*kgs?\b|permit.*|cites.*", " ", left, flags=re.IGNORECASE)
    return not re.search(r"\w", left)
