"""Headings and labels in eleven languages, as an exporter may write them (general vocabulary; all invented)."""

from __future__ import annotations

from typing import NamedTuple


class Words(NamedTuple):
    """What one language writes over its columns and beside its sums."""

    name: str
    size: str
    number: str
    box: str
    price: str
    amount: str
    total: str
    subtotal: str
    boxes: str
    comma: bool = False


LANGUAGES: dict[str, Words] = {
    "en": Words("Scientific Name", "Size", "Qty", "Box No.", "Unit Price", "Amount", "TOTAL", "Sub-total", "boxes"),
    "de": Words("Wissenschaftlicher Name", "Größe", "Stückzahl", "Karton-Nr.", "Einzelpreis", "Gesamtpreis", "Summe",
                "Zwischensumme", "Kartons", True),
    "fr": Words("Nom scientifique", "Taille", "Quantité", "Colis", "Prix unitaire", "Montant", "TOTAL", "Sous-total",
                "colis", True),
    "es": Words("Nombre científico", "Talla", "Cantidad", "Caja", "Precio unitario", "Importe", "TOTAL", "Subtotal",
                "cajas", True),
    "pt": Words("Nome científico", "Tamanho", "Quantidade", "Caixa", "Preço unitário", "Valor total", "TOTAL", "Subtotal",
                "caixas", True),
    "it": Words("Nome scientifico", "Taglia", "Quantità", "Scatola", "Prezzo unitario", "Importo", "TOTALE", "Subtotale",
                "scatole", True),
    "id": Words("Nama ilmiah", "Ukuran", "Jumlah", "No. boks", "Harga satuan", "Total harga", "JUMLAH", "Subtotal", "boks"),
    "vi": Words("Tên khoa học", "Kích thước", "Số lượng", "Thùng số", "Đơn giá", "Thành tiền", "Tổng cộng", "Cộng", "thùng"),
    "ja": Words("学名", "サイズ", "数量", "箱番号", "単価", "金額", "合計", "小計", "箱"),
    "zh": Words("拉丁学名", "规格", "数量", "箱号", "单价", "金额", "合计", "小计", "箱"),
    "ar": Words("الاسم العلمي", "المقاس", "الكمية", "رقم الصندوق", "سعر الوحدة", "المبلغ", "المجموع", "المجموع", "صناديق"),
}  # fmt: skip
