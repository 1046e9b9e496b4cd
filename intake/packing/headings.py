"""Headings suppliers write over their columns, by field and language (common practice and dictionaries, no source).

Every list is general vocabulary, written down from memory; it is the second hint, after what the cells themselves prove.
"""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["COUNT_OF_BOXES", "ORDERED", "PER_BOX", "WRITTEN"]

WRITTEN: Mapping[str, str] = {
    "line": (
        "no; nr; line; line no; item no; item; pos; position; s n; sn; sr no; sl no; #; row; ref; lfd nr; num; nro; "
        "numero; stt; 番号; 序号; 編號; رقم; no urut; item code; code; sku; article no; code article; codigo; kode; 编号"
    ),
    "name": (
        "scientific name; scientific; latin name; latin; species; species name; taxon; name; "
        "description; description of goods; item description; product; product name; specimen; "
        "specimens; article; artikel; animal; item name; scientific name species; nombre cientifico; nom "
        "scientifique; wissenschaftlicher name; nome cientifico; art; artname; lateinischer name; espece; especes; "
        "nom latin; designation; especie; especies; descripcion; nombre; producto; descricao; produto; nome; "
        "nome scientifico; specie; descrizione; prodotto; nama ilmiah; nama latin; jenis; spesies; nama; "
        "nama barang; "
        "ten khoa hoc; loai; ten hang; ten loai; mo ta; 学名; 種名; 品名; 商品名; 種類; 学名 品名; 名称; 品种; 种类; 拉丁名; "
        "拉丁学名; 物种; 學名; 品種; الاسم العلمي; النوع; الاسم; الصنف; البيان; bezeichnung; tierart; ware; "
        "soort; wetenschappelijke naam; "
        "gatunek; nazwa lacinska; вид; наименование; "
        "название; латинское название; tur; tur adi; bilimsel ad; 학명; 품명; 종명; laji; vetenskapligt namn"
    ),
    "common_name": (
        "common name; common; trade name; english name; trade; local name; commercial name; nombre "
        "comun; nom commun; nome comum; handelsname; deutscher name; trivialname; nom commercial; nombre comercial; "
        "nome comercial; nome comune; nome commerciale; nama dagang; nama umum; nama lokal; ten thuong mai; "
        "ten thuong goi; ten tieng anh; 通称; 和名; 一般名; 英名; 俗名; 商品俗名; 英文名; 通用名; الاسم الشائع; الاسم التجاري"
    ),
    "size": (
        "size; sizes; length; shell length; diameter; size class; dimension; dimensions; size range; "
        "size grade; grade; taille; talla; tamano; tamanho; groesse; grosse; lenght; grossenklasse; lange; "
        "longueur; calibre; medida; largo; comprimento; taglia; misura; dimensione; grandezza; ukuran; panjang; "
        "kich thuoc; kich co; サイズ; 大きさ; 長さ; 寸法; 尺寸; 规格; 規格; 大小; 長度; 长度; المقاس; الحجم; الطول; القياس; "
        "ø; diam; durchmesser; diametre; diametro; maat; afmeting; rozmiar; размер; длина; boy; olcu; 크기; 사이즈; koko; storlek"
    ),
    "count": (
        "qty; quantity; pcs; pc; piece; pieces; count; no of pcs; no of pieces; number of pieces; nos; heads; "
        "units; animals; quantity pcs; qty pcs; qty pc; total pcs; total qty; number of animals; no of "
        "animals; number of specimens; ea; specimen count; cantidad; quantite; menge; anzahl; "
        "quantidade; stueck; stuck; shipped; qty shipped; number; stuckzahl; stk; anzahl tiere; nombre; "
        "nombre de pieces; "
        "nb; pieces; qte; effectif; numero de piezas; piezas; unidades; cant; ejemplares; pecas; qtd; qtde; "
        "unidade; quantita; pezzi; pz; numero pezzi; capi; jumlah; ekor; jumlah ekor; banyaknya; qty ekor; so luong; "
        "so con; sl; 数量; 匹数; 個数; 点数; 件数; 數量; 隻數; 只数; 个数; 条数; 尾数; 株数; الكمية; العدد; عدد; "
        "عدد القطع; qty sent; sent; delivered; geliefert; livre; expedie; enviado; enviados; spedito; "
        "spediti; dikirim; "
        "出荷数; 发货数; 发货数量; 實發數量; frags; colonies; specimens shipped; pcs shipped; actual; actual qty; geschickt; "
        "aantal; stuks; ilosc; sztuk; szt; liczba; количество; кол во; шт; штук; adet; miktar; 수량; 마리; antal; kpl; maara"
    ),
    "boxes": (
        "box; boxes; box no; box nr; box number; box numbers; box #; carton; carton no; ctn; ctn no; "
        "cartons; box nos; caja; caja no; caixa; karton; carton number; packed in box; #box; kiste; "
        "kisten nr; karton nr; "
        "kistennummer; colis; no colis; boite; carton numero; numero de caja; n caja; caixa no; n caixa; "
        "scatola; cassa; collo; n scatola; boks; no box; no boks; nomor boks; box bag; box bag no; carton bag; "
        "nomor box; dus; koli; no koli; thung; thung so; 箱; 箱番号; 箱no; 箱号; "
        "箱號; 箱子; 件号; رقم الصندوق; الصندوق; صندوق; الكرتون; styro no; "
        "doos; doosnr; nr skrzyni; skrzynia; коробка; ящик; номер коробки; kutu; kutu no; 박스; 박스번호; 상자; lada; laatikko"
    ),
    "bags": "bag; bags; bag no; bag number; no of bags; number of bags; pack; bolsa; bolsas; beutel; sachet; kantong; 袋",
    "unit_price": (
        "unit price; price; price each; price usd pc; price pc; price per pc; price per piece; rate; "
        "price unit; price per unit; each; u price; unit cost; cost; unit value; per pc; prix unitaire; "
        "precio unitario; preco unitario; einzelpreis; precio; preis; prix; stuckpreis; preis stuck; "
        "preis je stuck; p u; "
        "prix piece; prix par piece; precio por pieza; precio unidad; preco; valor unitario; preco por peca; prezzo; "
        "prezzo unitario; prezzo al pezzo; harga; harga satuan; harga per ekor; don gia; gia; 単価; 価格; 单价; "
        "價格; 價錢; 單價; "
        "价格; سعر الوحدة; السعر; سعر القطعة; stukprijs; prijs; "
        "cena; cena jedn; cena jednostkowa; цена; birim fiyat; fiyat; 단가; 가격; hinta; a pris; styckpris; "
        "price 100; price per 100; price per hundred; preis 100; prix 100"
    ),
    "amount": (
        "amount; total; value; line total; total price; total value; total amount; sum; subtotal; "
        "extended; ext price; net amount; importe; montant; betrag; gesamtpreis; valor; price total; "
        "amount total; gesamt; summe; gesamtbetrag; wert; montant total; prix total; valeur; precio total; "
        "importe total; "
        "valor total; preco total; importo; totale; prezzo totale; valore; jumlah harga; total harga; nilai; "
        "thanh tien; "
        "tong tien; tri gia; 金額; 合計金額; 小計; 金额; 总价; 總價; 总额; 價值; المبلغ; الاجمالي; القيمة; "
        "السعر الاجمالي; bedrag; wartosc; kwota; сумма; стоимость; tutar; 금액; summa"
    ),
    "currency": (
        "currency; cur; ccy; moneda; devise; waehrung; wahrung; moeda"
        "; valuta; mata uang; tien te; 通貨; 货币; 币种; العملة"
    ),
    "origin": (
        "origin; country of origin; country; source country; origin country; country origin; origen; "
        "origine; ursprung; herkunft; ursprungsland; herkunftsland; pays d origine; pays; pais de origen; pais; "
        "pais de origem; origem; paese di origine; negara asal; asal; xuat xu; nuoc xuat xu; 原産国; 産地; 原产国; 原产地; 产地; "
        "بلد المنشأ; المنشأ"
    ),
    "source_code": (
        "source; source code; cites source; cites source code; source w f c; origin code; wild farmed; "
        "wild cultured; "
        "wild captive; wild or farmed; wild or cultured; w f; w c; w f c; quelle; wild zucht; sauvage elevage; fuente"
    ),
    "permit": (
        "permit; permit no; permit number; export permit; cites permit; cites permit no; cites no; "
        "certificate; certificate no; licence no; license no; export permit no; permit nr; genehmigung; "
        "genehmigungs nr; cites nr; no permis; permis; permis cites; permiso; permiso cites; licenca; permesso; "
        "izin; no izin; giay phep; so giay phep; 許可番号; 許可書番号; 许可证号; 许可证; 許可證; رقم التصريح; التصريح"
    ),
    "listing": "appendix; listing; cites; cites appendix; app; cites app; listed; annex; anhang; annexe; apendice; 附属書; 附录",
    "packed": (
        "packed; packing time; time packed; packed at; packed on; bagged; bagged at; pack date; packing "
        "date; packed time; date packed; packed time date; packing date time; pack time; date time packed; verpackt; "
        "verpackt am; emballe; emballe le; heure d emballage; empacado; empaque; hora de empaque; embalado; "
        "confezionato; "
        "dikemas; waktu kemas; jam packing; dong goi; gio dong goi; 梱包; 梱包日時; 包装; 打包; 打包时间; 包装时间; "
        "وقت التعبئة; التعبئة"
    ),
    "note": (
        "note; notes; remark; remarks; comment; comments; observations; bemerkung; bemerkungen; anmerkung; remarque; "
        "remarques; observaciones; nota; notas; observacoes; obs; osservazioni; note aggiuntive; keterangan; "
        "catatan; ket; "
        "ghi chu; 備考; 备注; 備註; 说明; ملاحظات; ملاحظة; status"
    ),
    "measure": (
        "uom; unit; unit of measure; um; u m; measure; packaging unit; selling unit; einheit; me; unite; "
        "unidad de medida; ud; "
        "unita; unita di misura; satuan; don vi; dvt; don vi tinh; 単位; 单位; 單位; الوحدة; وحدة"
    ),
    "genus": "genus; gattung; genre; genero; genere; marga; 属; 屬; 属名; الجنس",
    "epithet": "epithet; species epithet; species name only; artepitheton; epithete; epiteto; 种加词; 種小名",
}
"""Field → headings, parted by ``; ``, in small letters and without accents."""

ORDERED = (
    "ordered; order; order qty; qty ordered; ordered qty; requested; req; reserved; bestellt; "
    "bestellmenge; commande; "
    "commandes; qte commandee; pedido; pedidos; cantidad pedida; encomendado; pedida; ordinato; "
    "ordinati; dipesan; pesanan; "
    "dat hang; so luong dat; 注文; 注文数; 订购; 订单数量; 訂購; المطلوب; back order; backorder; back ordered; b o; short; "
    "shorted; cancelled; canceled; balance; outstanding; confirmed; bestatigt; confirme; confirmado; confermato; "
    "besteld; zamowiono; заказано; siparis; 주문; 주문수량; bestallt"
)
"""Headings of what was wished for, or is still owed: never the number in the bags."""

PER_BOX = (
    "per box; pcs box; pcs per box; qty box; qty per box; quantity per box; pieces per box; "
    "animals per box; each box; "
    "per carton; pcs ctn; pcs per ctn; qty per carton; stuck pro karton; stuck je karton; pro karton; par carton; "
    "pieces par carton; por caja; piezas por caja; por caixa; pecas por caixa; per scatola; pezzi per scatola; "
    "per boks; isi per box; isi; ekor per box; moi thung; so con moi thung; 1箱; 1箱入数; 入数; "
    "箱入数; 每箱; 每箱数量; 每箱數量; "
    "لكل صندوق; per bag; pcs per bag; pcs bag; qty per bag; stuck pro beutel"
)
"""Headings of the animals in one box or bag."""

COUNT_OF_BOXES = (
    "boxes; no of boxes; number of boxes; nos of boxes; qty boxes; cartons; no of cartons; ctns; box qty; box count; "
    "anzahl kartons; kartons; anzahl kisten; kisten; nombre de cartons; cartons total; nb cartons; "
    "cajas; numero de cajas; "
    "no de cajas; caixas; numero de caixas; scatole; numero scatole; n scatole; jumlah box; jumlah boks; "
    "so thung; 箱数; "
    "箱數; عدد الصناديق; no of bags; number of bags; bags; beutel; total boxes"
)
"""Headings of how many boxes or bags a line fills."""
