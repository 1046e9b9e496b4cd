"""What a PDF says of itself: title, farm, subject, the moment it was printed, and that it is made to be read aloud.

References
----------
Document information and metadata: ISO 32000-1, 14.3; the mark of a file made for all readers: ISO 14289-1, 5.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfdoc

from forms.layout.pdf.structure import text_string
from forms.layout.stamp import MOMENT

__all__ = ["About"]

_NEVER: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""Date of a print that names none, so that equal content gives equal bytes."""
_PACKET: Final = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfuaid:part>1</pdfuaid:part>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<xmp:CreatorTool>{creator}</xmp:CreatorTool>
<xmp:CreateDate>{moment}</xmp:CreateDate>
<xmp:ModifyDate>{moment}</xmp:ModifyDate>
<pdf:Producer>{producer}</pdf:Producer>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="r"?>"""


class About(pdfdoc.PDFInfo):
    """The document's information with the date of :data:`forms.layout.stamp.MOMENT`."""

    def __init__(self, told: Any) -> None:
        super().__init__()
        self.told = {
            "Title": str(told.title), "Author": str(told.author), "Creator": str(told.creator),
            "Producer": str(told.producer), "Subject": "" if told.subject == "unspecified" else str(told.subject),
        }  # fmt: skip
        self.moment = MOMENT.get() or _NEVER

    def format(self, document: Any) -> bytes:  # noqa: ARG002  # the library's hook
        """The entries that are told, and when the file was made."""
        zone = self.moment.strftime("%z")
        date = f"D:{self.moment:%Y%m%d%H%M%S}{zone[:3]}'{zone[3:5]}'"
        entries = {**self.told, "CreationDate": date, "ModDate": date}
        words = b"".join(b"/" + name.encode() + text_string(text) for name, text in entries.items() if text)
        return b"<<" + words + b"/Trapped/False>>"

    def packet(self) -> Any:
        """The same as metadata, and that the file conforms to PDF/UA-1."""
        told = {name.lower(): escape(text) for name, text in self.told.items()}
        words = _PACKET.format(moment=self.moment.isoformat(timespec="seconds"), **told)
        names = {"Type": pdfdoc.PDFName("Metadata"), "Subtype": pdfdoc.PDFName("XML")}
        return pdfdoc.PDFStream(pdfdoc.PDFDictionary(names), words.encode() + b"\n")
